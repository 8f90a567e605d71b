"""Single requests at many clients, beside a bare application that does the same on the same tables."""

from __future__ import annotations

import argparse
import itertools
import random
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from statistics import median

from sqlalchemy import URL, Engine, text

from app.store.engine import POSTGRESQL
from tests.bench.entry import OURS
from tests.bench.load_figures import Figure, latencies, middle, of, ratios
from tests.bench.load_peer import ALIVE
from tests.bench.load_rows import CoreWriter, copy_plants, engine_of, written_since
from tests.bench.row_file import JsonRow
from tests.bench.service_client import Ask, Timed, ask, timed
from tests.bench.service_databases import Databases
from tests.bench.service_jobs import bulk, number_of, single
from tests.bench.service_plant import with_plant
from tests.bench.service_process import Process, running, served, started
from tests.bench.tables import FigureTable

PART = "requests"
BARE = "bare"
POST, LIST, READ = "post a job", "list 50 jobs", "read a job"
WHATS = (POST, LIST, READ)
TARGET = 0.5
WARM_UP_S = 0.3
FIRST_NEW = 10_000_000
"""Jobs that are posted one by one have numbers from here on."""

Asks = Callable[[], Iterator[Ask]]


@dataclass(frozen=True)
class _Side:
    """A server, and endless requests of every kind for it."""

    solver: str
    process: Process
    asks: dict[str, Asks]

    def timed(self, what: str, clients: int, seconds: float) -> tuple[Timed, float]:
        """How requests went, and the processor seconds that the server took for them."""
        begun_cpu_s = self.process.cpu_s
        went = timed(self.process.port, self.asks[what](), clients, seconds)
        return went, self.process.cpu_s - begun_cpu_s


def measured(made: Databases, asked: argparse.Namespace) -> Iterator[Figure]:
    """Rounds in which both are asked the same in turn, on databases with the same jobs."""
    url, bare_url = made.new(), made.new()
    key = with_plant(url)
    with ExitStack() as stack:
        process = stack.enter_context(running(served(url)))
        _post_jobs(process, key, asked)
        _copy(url, bare_url)
        bare = stack.enter_context(running(_bare(bare_url)))
        sides = (
            _Side(OURS, process, _asks("/api/v1/jobs", key, asked)),
            _Side(BARE, bare, _asks("/jobs", None, asked)),
        )
        for side, what in itertools.product(sides, WHATS):
            side.timed(what, asked.clients, WARM_UP_S)
        for number, what in itertools.product(range(asked.seeds), WHATS):
            for side in sides if number % 2 == 0 else sides[::-1]:
                went, cpu_s = side.timed(what, asked.clients, asked.seconds)
                more = latencies(went) | {"server_cpu_s": round(cpu_s, 3)}
                yield Figure(made.kind, PART, what, side.solver, number, asked.clients, went.a_second, more)


def table(rows: Sequence[JsonRow]) -> FigureTable:
    """Requests a second and latencies, ours and the bare application's."""
    names = list(dict.fromkeys((row["database"], row["what"]) for row in rows))
    clients, seconds = rows[0]["threads"], rows[0]["seconds"]
    busiest = max(row["client_cpu_s"] / row["wall_s"] for row in rows)
    return FigureTable(
        f"load: requests a second at {clients} clients, one process; {seconds:g} s a round, "
        f"rounds: {len({row['seed'] for row in rows})}",
        (
            *("database, request", OURS, BARE, "share", "least share", "target"),
            *("p50 ms", "bare's", "share", "p99 ms", "bare's", "share"),
        ),
        tuple(_line(database, what, rows) for database, what in names),
        (
            "Bare: FastAPI and SQLAlchemy Core on the same tables, jobs and versions, without keys, "
            "conditions, revisions, logs or limits. Medians; shares by round, of latencies the bare one's "
            "over ours. The "
            f"client is a process of its own and took at most {100 * busiest:.0f} % of a core.",
        ),
    )


def _line(database: str, what: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    here = [row for row in rows if row["database"] == database]
    shares = ratios(of(here, what, OURS), of(here, what, BARE))
    cells = [
        f"{database}: {what}",
        middle(of(here, what, OURS)),
        middle(of(here, what, BARE)),
        middle(shares, ".2f"),
        f"{min(shares):.2f}",
        f"{TARGET}",
    ]
    for field in ("p50_ms", "p99_ms"):
        ours, bare = of(here, what, OURS, field), of(here, what, BARE, field)
        cells += [middle(ours, ".1f"), middle(bare, ".1f"), f"{median(ratios(bare, ours)):.2f}"]
    return tuple(cells)


def _post_jobs(process: Process, key: str, asked: argparse.Namespace) -> None:
    numbers = list(range(asked.jobs))
    timed(process.port, iter([ask("POST", "/api/v1/jobs/bulk", key, bulk(numbers, asked.versions))]), 1)


def _copy(source: URL, target: URL) -> None:
    """Write all jobs of one database into another."""
    with engine_of(source) as ours, engine_of(target) as beside:
        copy_plants(ours, beside)
        CoreWriter(beside, converting=True).seconds(written_since(ours, 0, 1000))
        _count_on(beside)


def _count_on(engine: Engine) -> None:
    """PostgreSQL counts rows by itself; those that came with their numbers are unknown to it."""
    if engine.dialect.name != POSTGRESQL:
        return
    with engine.begin() as connection:
        for name in ("plants", "jobs", "audit"):
            last = f"SELECT setval('{name}_pk_seq', (SELECT max(pk) FROM {name}))"
            connection.execute(text(last))


def _bare(url: URL) -> Process:
    text = url.render_as_string(hide_password=False)
    command = (sys.executable, "-m", "tests.bench.load_peer", "--database", text)
    return started(command, ALIVE, {})


def _asks(path: str, key: str | None, asked: argparse.Namespace) -> dict[str, Asks]:
    new = itertools.count(FIRST_NEW)

    def posts() -> Iterator[Ask]:
        while True:
            yield ask("POST", path, key, single(next(new), asked.versions), 201)

    def lists() -> Iterator[Ask]:
        return itertools.repeat(ask("GET", f"{path}?limit=50", key))

    def reads() -> Iterator[Ask]:
        rng = random.Random(1)
        every = [ask("GET", f"{path}/{number_of(job)}", key) for job in range(asked.jobs)]
        while True:
            yield rng.choice(every)

    return {POST: posts, LIST: lists, READ: reads}
