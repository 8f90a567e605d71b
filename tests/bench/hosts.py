"""Workers on two hosts, one of which is cut off for longer than its lease: no result is doubled."""

from __future__ import annotations

import argparse
import itertools
import json
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from pathlib import Path
from statistics import median
from typing import Any

from rich.console import Console

from app.store import plants
from app.store.engine import POSTGRESQL
from app.store.store import Actor, Store
from tests.app.costed_plans import QUEUE
from tests.bench import chaos_checks
from tests.bench.entry import OURS
from tests.bench.hosts_rounds import PLANT, Hosts, Measure, Round, When
from tests.bench.load_rows import engine_of
from tests.bench.namespaces import ADDRESS, HOSTS, NETWORK, SERVER, network
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.service_databases import databases
from tests.bench.tables import FigureTable, seconds
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "hosts"
HELP = (
    "Workers in two network namespaces, one cut off beyond its lease and back: no double result. Needs root."
)

TRIES = 5
"""A cable may be pulled too late: then it is done again, so often at most."""

STOPPED = ", its child stopped meanwhile"


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=10.0, help="That a host is cut off, at least.")
    parser.add_argument("--rounds", type=int, default=10, help="Of each way, the hosts taking turns.")
    parser.add_argument("--seed", type=int, default=0, help="Number of the run.")
    parser.add_argument("--lease-s", type=float, default=3.0, help="How long a worker may be silent.")
    parser.add_argument("--search-s", type=float, default=8.0, help="Longer than a lease and a second.")
    parser.add_argument("--stopped", action="store_true", help="Stop the child: a search can then be short.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Rounds of both ways on the same two workers; ends with an error where a result is lost or doubled.

    Raises
    ------
    NoNamespacesError
        If there can be no hosts on this machine.
    """
    file = RowFile(asked.json, asked.command)
    if not all(file.has(**_key(when, asked)) for when in When):
        measure = Measure(asked.lease_s, asked.seconds, asked.search_s, asked.stopped)
        begun_s = time.perf_counter()
        found, ends = _measured(measure, asked.rounds)
        wall_s = round(time.perf_counter() - begun_s, 1)
        for when, rounds in found.items():
            row = _key(when, asked) | _figures(when, rounds, asked) | ends | {"wall_s": wall_s}
            file.add(row | circumstances(SERVICE_PACKAGES))
            console.print(f"{when}: {json.dumps(row)}")
    return [row for row in file.rows if row["bench"] == NAME]


def _measured(measure: Measure, rounds: int) -> tuple[dict[When, list[Round]], dict[str, Any]]:
    found: dict[When, list[Round]] = {when: [] for when in When}
    with ExitStack() as stack:
        cables = stack.enter_context(network())
        made = stack.enter_context(databases(POSTGRESQL))
        made.listen(ADDRESS, NETWORK, cables.inside(SERVER))
        made.keep_what_is_committed()
        url = made.new()
        with closing(Store(url)) as store, store.writing(Actor("bench")) as work:
            plants.create(work, PLANT, QUEUE.plant)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="runwright-hosts-")))
        engine = stack.enter_context(engine_of(url))
        hosts = stack.enter_context(closing(Hosts(cables, url, engine, measure, folder)))
        try:
            for number, when in itertools.product(range(rounds), When):
                found[when].append(_one(hosts, when, HOSTS[number % len(HOSTS)]))
            ends = chaos_checks.ends(engine, hosts.ids)
        except Exception as error:
            error.add_note(hosts.told())
            raise
    return found, {
        "requests": ends.statuses.total(),
        "statuses": {status.value: count for status, count in ends.statuses.items()},
        "attempts": ends.attempts,
        "retried": ends.retried,
    }


def _one(hosts: Hosts, when: When, host: str) -> Round:
    """A round in which the host was cut off in time."""
    for _ in range(TRIES):
        found = hosts.round(when, host)
        if found is not None:
            return found
    raise RuntimeError(f"{TRIES} requests had ended before {host} was cut off")


def _key(when: When, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{when}, {asked.rounds} rounds",
        "solver": OURS,
        "seed": asked.seed,
        "seconds": asked.seconds,
        "threads": len(HOSTS),
    }


def _figures(when: When, rounds: Sequence[Round], asked: argparse.Namespace) -> dict[str, Any]:
    child = [each.child_ended_s for each in rounds if each.child_ended_s is not None]
    return {
        "value": len(rounds),
        "when": when.value,
        "lease_s": asked.lease_s,
        "is_stopped": asked.stopped and when is When.SEARCHING,
        "cut_off_s": _all([each.cut_off_s for each in rounds]),
        "retaken_s": _all([each.retaken_s for each in rounds]),
        "child_ended_s": _all(child),
        "usable_s": _all([each.usable_s for each in rounds]),
    }


def _all(times_s: Sequence[float]) -> list[float]:
    return [round(time_s, 2) for time_s in times_s]


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """How long everything took, and what became of the requests."""
    yield FigureTable(
        f"hosts: a worker on each of two hosts, cut off from PostgreSQL for longer than its lease of "
        f"{rows[0]['lease_s']:g} s while",
        (
            *("cut off while", "rounds", "cut off s", "retaken after s", "most", "child ended after s"),
            *("most", "usable again after s", "most", "requests of the run", "results", "attempts"),
        ),
        tuple(_line(row) for row in rows),
        (
            "Hosts and server are network namespaces, cut off by taking a host's link to the switch down"
            f"{STOPPED if any(row['is_stopped'] for row in rows) else ''}. Medians and most over the rounds, "
            "the hosts taking turns. Retaken: the other host began with the request, and ended it. Child "
            "ended: while the host was cut off. Usable: began with the next request after it came back.",
            "At the end every request has ended once and has one result, whose sequences are all there are.",
        ),
    )


def _line(row: JsonRow) -> tuple[str, ...]:
    return (
        row["when"],
        f"{row['value']}",
        seconds(median(row["cut_off_s"])),
        *_middle_and_most(row["retaken_s"]),
        *_middle_and_most(row["child_ended_s"]),
        *_middle_and_most(row["usable_s"]),
        f"{row['requests']}",
        f"{row['statuses'].get('finished', 0)}",
        f"{row['attempts']}",
    )


def _middle_and_most(times_s: Sequence[float]) -> tuple[str, str]:
    return (seconds(median(times_s)), seconds(max(times_s))) if times_s else ("", "")
