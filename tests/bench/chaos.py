"""Workers, their children, the service and the database are killed while requests are worked on."""

from __future__ import annotations

import argparse
import itertools
import json
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from rich.console import Console

from tests.bench.chaos_checks import Ends
from tests.bench.chaos_deeds import KILLS, MEANT, Deed
from tests.bench.chaos_harm import Chaos, Measure
from tests.bench.entry import OURS
from tests.bench.load_rows import engine_of
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.service_databases import KINDS, databases
from tests.bench.tables import FigureTable, seconds
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "chaos"
HELP = "Workers, children, the service and the database are killed: every request ends once, with one result."
SHOWN = (Deed.CHILD, Deed.EARLY, Deed.WRITING, Deed.WORKER, Deed.PAUSE)


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=7200.0, help="After which no other database begins.")
    parser.add_argument("--seeds", type=int, default=1, help="Runs on each kind of database.")
    parser.add_argument("--requests", type=int, default=200, help="Orders that are asked for, at least.")
    parser.add_argument("--workers", type=int, default=3, help="Processes that work, of one slot each.")
    parser.add_argument("--kills", type=int, default=120, help="Of workers and children.")
    parser.add_argument("--pauses", type=int, default=6, help="Workers stopped for longer than their lease.")
    parser.add_argument("--restarts", type=int, default=2, help="Of PostgreSQL.")
    parser.add_argument("--api-kills", type=int, default=3, help="Of the service.")
    parser.add_argument("--search-s", type=float, default=2.0, help="How long each search takes at least.")
    parser.add_argument("--lease-s", type=float, default=3.0, help="How long a worker may be silent.")
    parser.add_argument("--sample", default="day", help="Whose queue is ordered.")
    parser.add_argument("--databases", nargs="+", choices=KINDS, default=list(KINDS), help="Kinds of them.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every kind of database with every seed; ends with an error where a request is lost or doubled."""
    file, begun_s = RowFile(asked.json, asked.command), time.perf_counter()
    for kind, seed in itertools.product(asked.databases, range(asked.seeds)):
        key = _key(kind, seed, asked)
        if file.has(**key) or time.perf_counter() - begun_s > asked.seconds:
            continue
        row_begun_s = time.perf_counter()
        figures = _measured(kind, _measure(asked, seed))
        row = key | figures | {"wall_s": round(time.perf_counter() - row_begun_s, 1)}
        file.add(row | circumstances(SERVICE_PACKAGES))
        console.print(f"{kind}, seed {seed}: {json.dumps(row)}")
    return [row for row in file.rows if row["bench"] == NAME]


def _measure(asked: argparse.Namespace, seed: int) -> Measure:
    return Measure(
        requests=asked.requests,
        workers=asked.workers,
        kills=asked.kills,
        pauses=asked.pauses,
        restarts=asked.restarts,
        api_kills=asked.api_kills,
        search_s=asked.search_s,
        lease_s=asked.lease_s,
        sample=asked.sample,
        seed=seed,
    )


def _measured(kind: str, measure: Measure) -> dict[str, Any]:
    with ExitStack() as stack:
        made = stack.enter_context(databases(kind))
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="runwright-chaos-")))
        url = made.new()
        made.keep_what_is_committed()
        engine = stack.enter_context(engine_of(url))
        chaos = Chaos(made, url, measure, folder)
        stack.callback(chaos.close)
        try:
            chaos.start()
            return _figures(kind, chaos.run(engine), chaos)
        except Exception as error:
            error.add_note(chaos.told())
            raise


def _key(kind: str, seed: int, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{kind}, {asked.requests} requests, {asked.kills} kills",
        "solver": OURS,
        "seed": seed,
        "seconds": asked.seconds,
        "threads": asked.workers,
    }


def _figures(kind: str, found: Ends, chaos: Chaos) -> dict[str, Any]:
    deeds = chaos.deeds
    kills = sum(deeds.done[deed] for deed in KILLS)
    return {
        "value": kills,
        "database": kind,
        "requests": found.statuses.total(),
        "statuses": {status.value: count for status, count in found.statuses.items()},
        "attempts": found.attempts,
        "retried": found.retried,
        "worked_s": round(found.worked_s, 2),
        "kills": kills,
        "deeds": {deed.value: deeds.done[deed] for deed in Deed},
        "missed": {deed.value: deeds.misses[deed] for deed in Deed},
        "restarts": chaos.restarts,
        "api_kills": chaos.api_kills,
    }


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """What was done, and what became of the requests."""
    yield FigureTable(
        "chaos: planning requests under kill -9 of workers, children, the service and the database",
        (
            *("database", "requests", "finished", "attempts", "kills", "child searching"),
            *("claim to first beat", "writing a result", "worker searching", "stopped past the lease"),
            *("missed", "database restarted", "service killed", "least work s", "wall s"),
        ),
        tuple(_line(row) for row in rows),
        (
            "; ".join(f"{deed.value}: {told}" for deed, told in MEANT.items()) + ".",
            "Counted is what the database proves: the attempt did not end its request, which was tried again "
            "because child or worker was lost; between claim and first beat: and it had neither progress nor "
            "a renewed lease. What came too late was missed, and done to another claim.",
            "At the end every request that was asked for is there once, has ended once and has one result, "
            "whose sequences are all there are; no process goes on.",
        ),
    )


def _line(row: JsonRow) -> tuple[str, ...]:
    deeds = row["deeds"]
    return (
        f"{row['database']}, seed {row['seed']}, {row['threads']} workers",
        f"{row['requests']}",
        f"{row['statuses'].get('finished', 0)}",
        f"{row['attempts']}",
        f"{row['kills']}",
        *(f"{deeds[deed]}" for deed in SHOWN),
        f"{sum(row['missed'].values())}",
        f"{row['restarts']}",
        f"{row['api_kills']}",
        seconds(row["worked_s"]),
        seconds(row["wall_s"]),
    )
