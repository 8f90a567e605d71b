"""Costing an order made by hand, as somebody waits for it who drags its runs."""

from __future__ import annotations

import argparse
import itertools
import json
import random
from collections.abc import Iterator, Sequence
from typing import Any

from tests.bench.entry import OURS
from tests.bench.load_figures import Figure, latencies
from tests.bench.row_file import JsonRow
from tests.bench.service_client import Ask, answered, ask, timed
from tests.bench.service_databases import Databases
from tests.bench.service_plant import send_sample, with_plant
from tests.bench.service_process import Process, running, served
from tests.bench.tables import FigureTable

PART = "costing"
TARGET_MS = 20
COST = "/api/v1/sequences/cost"
METRES_A_RUN = 10_000
START = "2027-03-01T06:00:00+01:00"

Lines = dict[str, list[str]]


def measured(made: Databases, asked: argparse.Namespace) -> Iterator[Figure]:
    """Rounds of an order with a run moved at every request: the first of all finds nothing remembered."""
    url = made.new()
    key = with_plant(url)
    with running(served(url)) as process:
        lines = order_of_runs(process, key, asked.runs)
        what = f"an order of {asked.runs} runs on {len(lines)} lines"
        cold = timed(process.port, iter([_ask(key, lines)]), 1)
        _check(answered(process.port, _ask(key, lines)).json, asked.runs)
        for number in range(asked.seeds):
            rng = random.Random(number)
            asks = [_ask(key, _moved(rng, lines)) for _ in range(asked.asks)]
            begun_cpu_s = process.cpu_s
            went = timed(process.port, iter(asks), 1)
            cpu_ms = 1000 * (process.cpu_s - begun_cpu_s) / len(asks)
            more = latencies(went) | {
                "server_cpu_ms": round(cpu_ms, 2),
                "first_ms": round(1000 * cold.median_s, 1),
                "runs": asked.runs,
            }
            yield Figure(made.kind, PART, what, OURS, number, 1, 1000 * went.median_s, more)


def order_of_runs(process: Process, key: str, runs: int) -> Lines:
    """So many jobs like those of the sample day, posted, and placed on lines that can run them."""
    send_sample(process.port, key)
    _restock(process, key, runs)
    read = answered(process.port, ask("GET", "/api/v1/jobs?limit=200", key)).json
    able = _lines_by_job(process, key)
    models = [stored["item"] for stored in read["items"] if able[stored["item"]["job"]]]
    jobs, lines = [], Lines()
    for idx, model in zip(range(runs), itertools.cycle(models), strict=False):
        job = f"{model['job']}-{idx}"
        jobs.append({**model, "job": job})
        shortest = min(able[model["job"]], key=lambda line: len(lines.get(line, ())))
        lines.setdefault(shortest, []).append(job)
    answered(process.port, ask("POST", "/api/v1/jobs/bulk", key, json.dumps({"items": jobs}).encode()))
    return lines


def _restock(process: Process, key: str, runs: int) -> None:
    """Have more of every stock: what the sample has is for its own day."""
    read = answered(process.port, ask("GET", "/api/v1/substrates?limit=200", key)).json
    stocks = [stored["item"] for stored in read["items"]]
    for width in itertools.chain.from_iterable(stock["widths"] for stock in stocks):
        width["on_hand_m"] = runs * METRES_A_RUN
    body = json.dumps({"items": stocks}).encode()
    answered(process.port, ask("POST", "/api/v1/substrates/bulk", key, body))


def _lines_by_job(process: Process, key: str) -> dict[str, list[str]]:
    """Lines that can run the jobs that are there."""
    found = answered(process.port, ask("GET", "/api/v1/readiness", key)).json
    return {
        ready["job"]: [fit["line"] for fit in ready["lines"] if not fit["reasons"]] for ready in found["jobs"]
    }


def _moved(rng: random.Random, lines: Lines) -> Lines:
    """The order with one run elsewhere on its line."""
    line = rng.choice([line for line, jobs in lines.items() if len(jobs) > 1])
    jobs = list(lines[line])
    moved = jobs.pop(rng.randrange(len(jobs)))
    jobs.insert(rng.randrange(len(jobs) + 1), moved)
    return {**lines, line: jobs}


def _ask(key: str, lines: Lines) -> Ask:
    order = {
        "start": START,
        "lines": [{"line": line, "runs": [{"job": job} for job in jobs]} for line, jobs in lines.items()],
    }
    return ask("POST", COST, key, json.dumps(order).encode())


def _check(costed: dict[str, Any], runs: int) -> None:
    placed, left_out = len(costed["runs"]), costed["left_out"]
    if placed != runs or left_out:
        raise RuntimeError(f"{placed} of {runs} runs were placed; the first left out: {left_out[:1]}")


def table(rows: Sequence[JsonRow]) -> FigureTable:
    """Latencies of costing."""
    names = list(dict.fromkeys((row["database"], row["what"]) for row in rows))
    first = rows[0]
    return FigureTable(
        f"load: ms of costing an order made by hand, one client, {first['requests']} orders a round, each "
        f"with another run moved, rounds: {len({row['seed'] for row in rows})}",
        ("database, order", "median", "p99", "processor", "first of the process", "target of the median"),
        tuple(
            _line(name, what, [row for row in rows if (row["database"], row["what"]) == (name, what)])
            for name, what in names
        ),
        ("Medians of the rounds. Processor: ms of the service's process, at the mean.",),
    )


def _line(database: str, what: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    middle = len(rows) // 2
    return (
        f"{database}: {what}",
        f"{sorted(row['value'] for row in rows)[middle]:.1f}",
        f"{sorted(row['p99_ms'] for row in rows)[middle]:.1f}",
        f"{sorted(row['server_cpu_ms'] for row in rows)[middle]:.1f}",
        f"{rows[0]['first_ms']:.0f}",
        f"{TARGET_MS}",
    )
