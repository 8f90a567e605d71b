"""Bulk ingestion over HTTP, beside SQLAlchemy Core writing the same rows into the same tables."""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator, Sequence
from contextlib import ExitStack

from sqlalchemy import Engine

from tests.bench.entry import OURS
from tests.bench.load_figures import Figure, latencies, middle, of, ratios
from tests.bench.load_rows import CoreWriter, copy_plants, count_rows, engine_of, last_job, written_since
from tests.bench.row_file import JsonRow
from tests.bench.service_client import Ask, ask, timed
from tests.bench.service_databases import Databases
from tests.bench.service_jobs import bulk
from tests.bench.service_plant import with_plant
from tests.bench.service_process import running, served
from tests.bench.tables import FigureTable

PART = "ingest"
CORE, CONVERTING = "Core", "Core with the store's types"
CLIENTS = (1, 4)
WARM_UP_POSTS = 2
TARGET = 0.4
BULK = "/api/v1/jobs/bulk"


def measured(made: Databases, asked: argparse.Namespace) -> Iterator[Figure]:
    """Rounds of posts, each followed by the same rows through Core into databases of its own."""
    url = made.new()
    key = with_plant(url)
    jobs = itertools.count(1)
    with ExitStack() as stack:
        process = stack.enter_context(running(served(url)))
        ours = stack.enter_context(engine_of(url))
        writers = {
            solver: CoreWriter(_beside(stack, ours, made), converting=solver == CONVERTING)
            for solver in (CORE, CONVERTING)
        }
        timed(process.port, _posts(key, jobs, WARM_UP_POSTS, asked), 1)
        for number in range(asked.seeds):
            for clients in CLIENTS:
                what = told(clients)
                last, rows_before = last_job(ours), count_rows(ours)
                begun_cpu_s = process.cpu_s
                went = timed(process.port, _posts(key, jobs, asked.posts, asked), clients)
                cpu_s = process.cpu_s - begun_cpu_s
                rows = count_rows(ours) - rows_before
                more = latencies(went) | {"rows": rows, "writer_cpu_s": round(cpu_s, 3)}
                yield Figure(made.kind, PART, what, OURS, number, clients, rows / went.wall_s, more)
                blocks = written_since(ours, last, asked.jobs)
                if sum(block.count for block in blocks) != rows:
                    raise RuntimeError(f"{rows} rows are new, but not all of them are of the jobs posted")
                for solver, writer in writers.items():
                    took_s, cpu_s = writer.seconds(blocks)
                    beside = {"rows": rows, "wall_s": round(took_s, 3), "writer_cpu_s": round(cpu_s, 3)}
                    yield Figure(made.kind, PART, what, solver, number, clients, rows / took_s, beside)


def table(rows: Sequence[JsonRow]) -> FigureTable:
    """Rows a second, ours and Core's."""
    names = list(dict.fromkeys((row["database"], row["what"]) for row in rows))
    first = rows[0]
    return FigureTable(
        f"load: rows a second of bulk ingestion, one process; {first['rows']:,} rows a round, "
        f"rounds: {len({row['seed'] for row in rows})}",
        ("database, how", OURS, CORE, "share", "least share", "target", CONVERTING, "share of that"),
        tuple(_line(database, what, rows) for database, what in names),
        (
            "Jobs, versions and audit are counted as rows. Core: executemany of the very rows that the "
            "service has written, a transaction a block, one connection, into a database of its own right "
            "after each round; medians, shares by round.",
        ),
    )


def _line(database: str, what: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    here = [row for row in rows if row["database"] == database]
    ours, core, converting = (of(here, what, solver) for solver in (OURS, CORE, CONVERTING))
    shares = ratios(ours, core)
    return (
        f"{database}: {what}",
        middle(ours),
        middle(core),
        middle(shares, ".2f"),
        f"{min(shares):.2f}",
        f"{TARGET}",
        middle(converting),
        middle(ratios(ours, converting), ".2f"),
    )


def told(clients: int) -> str:
    return "1 client" if clients == 1 else f"{clients} clients"


def _beside(stack: ExitStack, ours: Engine, made: Databases) -> Engine:
    engine = stack.enter_context(engine_of(made.new()))
    copy_plants(ours, engine)
    return engine


def _posts(key: str, jobs: Iterator[int], posts: int, asked: argparse.Namespace) -> Iterator[Ask]:
    """Bulk requests, each made before the clock starts."""
    blocks = [list(itertools.islice(jobs, asked.jobs)) for _ in range(posts)]
    return iter([ask("POST", BULK, key, bulk(block, asked.versions)) for block in blocks])
