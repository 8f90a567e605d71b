"""Requests that nobody would think of, against what OpenAPI says of every answer; on both databases."""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import schemathesis
from rich.console import Console
from schemathesis.engine import events, from_schema
from schemathesis.engine.recorder import ScenarioRecorder
from schemathesis.schemas import BaseSchema

from tests.bench.entry import OURS
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.service_client import HOST, answered, ask
from tests.bench.service_databases import KINDS, Databases, databases
from tests.bench.service_plant import another_key, send_sample, with_plant
from tests.bench.service_process import running, served
from tests.bench.tables import FigureTable, seconds
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "fuzz"
HELP = "Generated requests against the served API: what OpenAPI says must hold of every answer."
CHECKS = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_headers_conformance",
    "response_schema_conformance",
    "negative_data_rejection",
    "unsupported_method",
    "ignored_auth",
)
"""What every answer is held to. What is right by its schema may still be refused: it knows no other rows."""

LISTED, DRAWN = ("examples", "coverage"), ("fuzzing", "stateful")
"""Phases that go through the schema once and are the same every time; those that draw anew."""

FAILURES_SHOWN = 20


@dataclass(frozen=True)
class Failure:
    """An answer that is not as OpenAPI says."""

    check: str
    route: str
    told: str
    curl: str

    @property
    def text(self) -> str:
        return f"{self.route}, {self.check}: {self.told}\n{self.curl}"


@dataclass
class Fuzzed:
    """What was asked and what came of it.

    Parameters
    ----------
    calls
        By route and status.
    broken
        What kept the generator from asking, such as a schema that is none.
    """

    calls: Counter[tuple[str, int]] = field(default_factory=Counter)
    failures: list[Failure] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)

    @property
    def count(self) -> int:
        return self.calls.total()

    @property
    def routes(self) -> set[str]:
        return {route for route, _ in self.calls}

    @property
    def statuses(self) -> Counter[int]:
        """Answers by status."""
        found: Counter[int] = Counter()
        for (_, status), count in self.calls.items():
            found[status] += count
        return found

    @property
    def never_taken(self) -> list[str]:
        """Routes that refused all that they were asked."""
        taken = {route for route, status in self.calls if status < 400}
        return sorted(self.routes - taken)

    @property
    def faults(self) -> list[str]:
        """Everything that is wrong, each once."""
        return [*self.broken, *dict.fromkeys(failure.text for failure in self.failures)]

    def add(self, event: events.EngineEvent) -> None:
        """Take in what the generator tells."""
        if isinstance(event, events.ScenarioFinished):
            self._add_calls(event.recorder)
            self._add_failures(event.recorder)
        elif isinstance(event, events.NonFatalError | events.FatalError):
            self.broken.append(str(event))

    def _add_calls(self, recorder: ScenarioRecorder) -> None:
        for case_id, interaction in recorder.interactions.items():
            if interaction.response is not None:
                route = recorder.cases[case_id].value.operation.label
                self.calls[route, interaction.response.status_code] += 1

    def _add_failures(self, recorder: ScenarioRecorder) -> None:
        for case_id, checks in recorder.checks.items():
            for check in checks:
                if (found := check.failure_info) is not None:
                    route = recorder.cases[case_id].value.operation.label
                    told = f"{found.failure.title}. {found.failure.message}".strip()
                    self.failures.append(Failure(check.name, route, told, found.code_sample))


Get = Callable[[str], Any]
"""Reads an address of the API as JSON."""

KEY_FIELDS = {
    "jobs": "job",
    "substrates": "code",
    "rolls": "id",
    "dies": "id",
    "cylinders": "id",
    "consumables": "id",
    "lines": "id",
    "users": "name",
    "webhooks": "id",
    "sequences": "id",
    "planning-requests": "id",
}
"""Resources that have things to be named, and what names one."""

PARAMETERS = {
    "lines": "path.line",
    "webhooks": "path.webhook",
    "sequences": "path.sequence",
    "planning-requests": "path.id",
}
"""Where their routes call it otherwise than others."""

ETAGS = ("*", '"1"', '"2"', '"3"')


def known_keys(get: Get) -> dict[str, list[str]]:
    """Some of what is stored, by resource."""
    found = {}
    for resource, name in KEY_FIELDS.items():
        items = (read.get("item", read) for read in get(f"/api/v1/{resource}")["items"])
        stored = [item[name] for item in items]
        if stored:
            found[resource] = stored[:20]
    return found


def config(
    key: str,
    seed: int,
    examples: int,
    phases: Sequence[str],
    known: Mapping[str, Sequence[str]] | None = None,
) -> schemathesis.Config:
    """How requests are made up: seeded, with a key, as many of each route and phase.

    Parameters
    ----------
    phases
        Among examples, coverage, fuzzing and stateful.
    known
        Keys of what is stored: half of the requests speak of it, else hardly any would find a thing.
    """
    known = known or {}
    return schemathesis.Config.from_dict(
        {
            "seed": seed,
            "headers": {"Authorization": f"Bearer {key}"},
            "continue-on-failure": True,
            "generation": {"max-examples": examples, "database": "none", "no-shrink": True},
            "checks": {"enabled": False, **{check: {"enabled": True} for check in CHECKS}},
            "dictionaries": {
                name: {"values": list(keys)} for name, keys in {**known, "etags": ETAGS}.items()
            },
            "parameters": {"header.if-match": _half_of("etags"), "header.if-none-match": _half_of("etags")},
            "operations": [*_naming(known), NOT_A_WRONG_METHOD, NOT_TO_ITS_END],
            "phases": {phase: {"enabled": phase in phases} for phase in (*LISTED, *DRAWN)},
        }
    )


NOT_A_WRONG_METHOD = {
    "include-path-regex": r"^/api/v1/jobs/\{key\}/.+",
    "checks": {"unsupported_method": {"enabled": False}},
}
"""A job's key may have slashes: to PUT at jobs/J-1/quantities is to PUT the job J-1/quantities."""


NOT_TO_ITS_END = {"include-operation-id": "follow_planning_request", "max-stream-events": 2}
"""A stream goes on for as long as its request is worked on."""


def _half_of(dictionary: str) -> dict[str, object]:
    return {"dictionary": dictionary, "probability": 0.5}


def _naming(known: Mapping[str, Sequence[str]]) -> Iterator[dict[str, object]]:
    """What is named where: in addresses, and in orders to be costed."""
    for resource in known:
        yield {
            "include-path-regex": rf"^/api/v1/{resource}/\{{.+\}}",
            "parameters": {PARAMETERS.get(resource, "path.key"): _half_of(resource)},
        }
    named = {"jobs": "body.lines[*].runs[*].job", "lines": "body.lines[*].line"}
    of_orders = {place: _half_of(resource) for resource, place in named.items() if resource in known}
    yield {"include-path-regex": r"^/api/v1/sequences(/cost)?$", "parameters": of_orders}


def fuzzed(schema: BaseSchema, fuzzed: Fuzzed, calls: int | None = None) -> None:
    """Ask all that the schema's configuration makes up, until so many calls were made in all."""
    stream = from_schema(schema).execute()
    for event in stream:
        fuzzed.add(event)
        if calls is not None and fuzzed.count >= calls:
            stream.stop()


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=7200.0, help="After which no other pass begins.")
    parser.add_argument("--seeds", type=int, default=1, help="Runs on each database, seeded 0, 1000 …")
    parser.add_argument("--calls", type=int, default=20_000, help="Of each run at least.")
    parser.add_argument("--examples", type=int, default=40, help="Of each route and phase in a pass.")
    parser.add_argument("--databases", nargs="+", choices=KINDS, default=list(KINDS), help="Kinds of them.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Passes with rising seeds until there are calls enough; ends with exit code 1 if an answer is wrong."""
    file = RowFile(asked.json, asked.command)
    faults: list[str] = []
    for kind in asked.databases:
        with databases(kind) as made:
            for number in range(asked.seeds):
                key = _key(kind, number, asked)
                if file.has(**key):
                    continue
                row, found = _measured(made, number, asked, console)
                file.add(key | row | circumstances(SERVICE_PACKAGES))
                faults += [f"{kind}, seed {number}: {fault}" for fault in found.faults]
    rows = [row for row in file.rows if row["bench"] == NAME]
    if faults:
        for fault in faults[:FAILURES_SHOWN]:
            console.print(fault, markup=False, soft_wrap=True)
        raise SystemExit(
            f"{len(faults)} faults; the first {min(len(faults), FAILURES_SHOWN)} are shown above"
        )
    return rows


def _key(kind: str, number: int, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{kind}, {asked.calls:,} calls",
        "solver": OURS,
        "seed": number,
        "seconds": asked.seconds,
        "threads": 1,
    }


def _measured(
    made: Databases, number: int, asked: argparse.Namespace, console: Console
) -> tuple[JsonRow, Fuzzed]:
    url = made.new()
    found, begun_s = Fuzzed(), time.perf_counter()
    with running(served(url, wrong_keys_per_minute="0")) as process:
        passes, key = 0, with_plant(url)
        send_sample(process.port, key)
        while found.count < asked.calls and time.perf_counter() - begun_s < asked.seconds:
            # a key of its own for every pass: one of the routes takes keys away
            key = another_key(url)
            schema = schemathesis.openapi.from_url(
                f"http://{HOST}:{process.port}/openapi.json",
                config=config(
                    key,
                    1000 * number + passes,
                    asked.examples,
                    DRAWN if passes else (*LISTED, *DRAWN),
                    known_keys(partial(_read, process.port, key)),
                ),
            )
            before = found.count
            fuzzed(schema, found)
            passes += 1
            console.print(f"{made.kind}, pass {passes}: {found.count:,} calls, {len(found.faults)} faults")
            if found.count == before:
                raise RuntimeError("a pass made no call")
    return _row(made.kind, found, passes, time.perf_counter() - begun_s), found


def _read(port: int, key: str, path: str) -> Any:
    return answered(port, ask("GET", path, key)).json


def _row(kind: str, found: Fuzzed, passes: int, wall_s: float) -> dict[str, Any]:
    return {
        "value": found.count,
        "database": kind,
        "passes": passes,
        "wall_s": round(wall_s, 1),
        "faults": len(found.faults),
        "never_taken": found.never_taken,
        "statuses": {str(status): count for status, count in sorted(found.statuses.items())},
        "calls": {route: _of_route(found, route) for route in sorted(found.routes)},
    }


def _of_route(found: Fuzzed, route: str) -> dict[str, int]:
    return {str(status): count for (at, status), count in sorted(found.calls.items()) if at == route}


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Calls by database, and by route."""
    yield FigureTable(
        "fuzz: generated requests against the served API",
        ("database, run", "calls", "routes", "faults", "2xx", "4xx", "5xx", "wall s"),
        tuple(_line(row) for row in rows),
        (f"Checks: {', '.join(check.replace('_', ' ') for check in CHECKS)}.",),
    )
    routes = sorted({route for row in rows for route in row["calls"]})
    yield FigureTable(
        "fuzz: calls by route",
        ("route", "calls", "statuses"),
        tuple(_route_line(route, rows) for route in routes),
    )


def _line(row: JsonRow) -> tuple[str, ...]:
    by_hundred = [
        sum(count for status, count in row["statuses"].items() if status[0] == hundred) for hundred in "245"
    ]
    return (
        f"{row['database']}, seed {row['seed']}",
        f"{row['value']:,}",
        str(len(row["calls"])),
        str(row["faults"]),
        *(f"{count:,}" for count in by_hundred),
        seconds(row["wall_s"]),
    )


def _route_line(route: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    statuses: Counter[str] = Counter()
    for row in rows:
        statuses.update(row["calls"].get(route, {}))
    told = ", ".join(f"{status} {count:,}×" for status, count in sorted(statuses.items()))
    return (route, f"{statuses.total():,}", told)
