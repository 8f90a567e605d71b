"""Lists and searches with very many jobs stored."""

from __future__ import annotations

import argparse
import itertools
import random
from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from typing import Any
from urllib.parse import quote

from sqlalchemy import Dialect, Engine, insert, text

from app.store.engine import is_sqlite
from app.store.folding import fold
from tests.bench.entry import OURS
from tests.bench.load_figures import Figure, latencies
from tests.bench.load_rows import JOBS, VERSIONS, Block, Rows, engine_of, plain, plain_block, written_since
from tests.bench.row_file import JsonRow
from tests.bench.service_client import Ask, answered, ask, timed
from tests.bench.service_databases import Databases
from tests.bench.service_jobs import bulk, customer_of, die_of, due_of, number_of, substrate_of
from tests.bench.service_plant import with_plant
from tests.bench.service_process import Process, running, served
from tests.bench.tables import FigureTable

PART = "stored"
BLOCK = 1_000
TARGET_MS = 50
PATH = "/api/v1/jobs"
PAGE = "limit=50"


def measured(made: Databases, asked: argparse.Namespace) -> Iterator[Figure]:
    """Questions of every kind to a service that has so many jobs."""
    url = made.new()
    key = with_plant(url)
    with running(served(url)) as process:
        first = list(range(min(BLOCK, asked.stored)))
        answered(process.port, ask("POST", f"{PATH}/bulk", key, bulk(first, asked.versions)))
        with engine_of(url) as engine:
            fill(engine, asked.stored)
        questions = _questions(process, key, asked.stored)
        for number, (what, draw) in itertools.product(range(asked.seeds), questions.items()):
            rng = random.Random(number)
            asks = [draw(rng) for _ in range(asked.asks)]
            answered(process.port, asks[0])
            begun_cpu_s = process.cpu_s
            went = timed(process.port, iter(asks), 1)
            cpu_ms = 1000 * (process.cpu_s - begun_cpu_s) / len(asks)
            more = latencies(went) | {
                "server_cpu_ms": round(cpu_ms, 2),
                "stored": asked.stored,
                "worst_ms": 1000 * max(went.latencies_s),
            }
            yield Figure(made.kind, PART, what, OURS, number, 1, 1000 * went.median_s, more)


def fill(engine: Engine, jobs: int) -> None:
    """Write jobs up to so many by Core: each is like one of those that are there, with a key, a customer, a
    die, a stock and a time of its own. They leave no audit.
    """
    (block,) = written_since(engine, 0, BLOCK)
    tables = (plain(JOBS, engine.dialect), plain(VERSIONS, engine.dialect))
    for start in range(len(block.rows[JOBS.name]), jobs, BLOCK):
        numbers = range(start, min(start + BLOCK, jobs))
        more = _like(block, numbers, engine.dialect)
        with engine.begin() as connection:
            for table in tables:
                connection.execute(insert(table), more.rows[table.name])
    if not is_sqlite(engine):
        _tell_planner(engine)


def _tell_planner(engine: Engine) -> None:
    """What PostgreSQL does by itself some time after so many rows; and its numbers go on behind ours."""
    with engine.begin() as connection:
        connection.execute(text("SELECT setval('jobs_pk_seq', (SELECT max(pk) FROM jobs))"))
        connection.execute(text("ANALYZE jobs"))
        connection.execute(text("ANALYZE job_versions"))


def _like(block: Block, numbers: range, dialect: Dialect) -> Block:
    jobs, versions = [], []
    models: Rows = block.rows[JOBS.name]
    parts: dict[int, Rows] = {}
    for part in block.rows[VERSIONS.name]:
        parts.setdefault(part["job_pk"], []).append(part)
    for number, model in zip(numbers, models, strict=False):
        pk = models[0]["pk"] + number
        jobs.append({**model, "pk": pk, **_told_of(number)})
        versions += [{**part, "job_pk": pk} for part in parts[model["pk"]]]
    return plain_block(Block({JOBS.name: jobs, VERSIONS.name: versions}), dialect)


def _told_of(number: int) -> dict[str, Any]:
    job, customer = number_of(number), customer_of(number)
    return {
        "job": job,
        "job_folded": fold(job),
        "customer": customer,
        "customer_folded": fold(customer),
        "substrate": substrate_of(number),
        "die": die_of(number),
        "due": due_of(number),
    }


def _questions(process: Process, key: str, stored: int) -> dict[str, Callable[[random.Random], Ask]]:
    """Kinds of question, each drawn anew for every request."""

    def get(query: str) -> Ask:
        return ask("GET", f"{PATH}?{PAGE}&{query}", key)

    def due(rng: random.Random) -> str:
        return quote(due_of(rng.randrange(stored)).isoformat())

    def due_window(rng: random.Random) -> Ask:
        begin = due_of(rng.randrange(stored))
        end = begin + timedelta(hours=8)
        window = f"due_from={quote(begin.isoformat())}&due_before={quote(end.isoformat())}"
        return get(f"{window}&status=open&sort=due")

    def deep(rng: random.Random) -> Ask:
        return get(f"cursor={quote(rng.choice(cursors))}")

    cursors = _cursors(process, key)
    return {
        "list, pages one after the other": deep,
        "list by due time, the last first": lambda rng: get("sort=-due"),
        "open jobs due within 8 h": due_window,
        "jobs of a die": lambda rng: get(f"die={die_of(rng.randrange(stored))}"),
        "jobs of a stock": lambda rng: get(f"substrate={substrate_of(rng.randrange(stored))}"),
        "jobs of a stock due from then on": lambda rng: get(
            f"substrate={substrate_of(rng.randrange(stored))}&due_from={due(rng)}"
        ),
        "search by the whole number": lambda rng: get(f"search={number_of(rng.randrange(stored))}"),
        "search by the number's beginning": lambda rng: get(
            f"search={number_of(rng.randrange(stored))[:-2]}"
        ),
        "search by the customer's beginning": lambda rng: get(
            f"search={quote(customer_of(rng.randrange(stored))[:12])}"
        ),
        "search by what all customers begin with": lambda rng: get("search=cust"),
        "search for what is not there": lambda rng: get(f"search=zz{rng.randrange(stored)}"),
        "read a job": lambda rng: ask("GET", f"{PATH}/{number_of(rng.randrange(stored))}", key),
    }


def _cursors(process: Process, key: str, pages: int = 40) -> list[str]:
    """Cursors of the first pages."""
    cursors: list[str] = []
    cursor = ""
    for _ in range(pages):
        more = f"&cursor={quote(cursor)}" if cursor else ""
        page = answered(process.port, ask("GET", f"{PATH}?{PAGE}{more}", key)).json
        cursor = page["next_cursor"]
        if cursor is None:
            break
        cursors.append(cursor)
    return cursors


def table(rows: Sequence[JsonRow]) -> FigureTable:
    """Latencies by kind of question."""
    names = list(dict.fromkeys((row["database"], row["what"]) for row in rows))
    first = rows[0]
    return FigureTable(
        f"load: ms of a question with {first['stored']:,} jobs stored, one client, "
        f"{first['requests']} of each kind, rounds: {len({row['seed'] for row in rows})}",
        ("database, question", "median", "p99", "worst", "processor", "target of the median"),
        tuple(
            _line(name, what, [row for row in rows if (row["database"], row["what"]) == (name, what)])
            for name, what in names
        ),
        (
            "Medians of the rounds; worst of all. A page is 50 jobs with their versions. Processor: ms of "
            "the service's process, at the mean.",
        ),
    )


def _line(database: str, what: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    medians, p99s = sorted(row["value"] for row in rows), sorted(row["p99_ms"] for row in rows)
    middle = len(rows) // 2
    return (
        f"{database}: {what}",
        f"{medians[middle]:.1f}",
        f"{p99s[middle]:.1f}",
        f"{max(row['worst_ms'] for row in rows):.1f}",
        f"{sorted(row['server_cpu_ms'] for row in rows)[middle]:.1f}",
        f"{TARGET_MS}",
    )
