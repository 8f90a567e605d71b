"""How soon something happens to a planning request, and how soon whoever follows it hears of that."""

from __future__ import annotations

import argparse
import signal
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from pathlib import Path
from statistics import median
from typing import Final

from sqlalchemy import URL

from app.contracts.planning_requests import EventKind
from app.settings import variable
from app.store.engine import POSTGRESQL, SQLITE
from tests.bench.followed_request import PROGRESS, Asker, until
from tests.bench.latency_figures import Figure, named, of
from tests.bench.process_tree import send
from tests.bench.row_file import JsonRow
from tests.bench.service_databases import Databases
from tests.bench.service_plant import send_sample, with_plant
from tests.bench.service_process import running, served
from tests.bench.service_worker import WorkerProcess, working
from tests.bench.tables import FigureTable

PART = "requests"
LEASE_S: Final = 3.0
HEARD_EACH: Final = 4
"""Progress that is listened to before a search is cancelled."""
AT_REST_S: Final = 0.3
"""A worker is asked again so long after its last request is over: it is to be measured waiting."""

STARTED = "queued → started"
HEARD_STARTED = "POST answered → started, at a reader"
FIRST_PROGRESS = "POST answered → first progress, at a reader"
TOLD_PROGRESS = "progress told by the worker → at a reader"
CANCELLED = "cancellation sent → cancelled, at a reader"
KILLED = "the same, the child stands still and is killed"
RETAKEN = "worker killed → started by another"

BESIDE_MS: Final = {
    (STARTED, SQLITE): 14,
    (STARTED, POSTGRESQL): 5,
    (TOLD_PROGRESS, SQLITE): 41,
    (TOLD_PROGRESS, POSTGRESQL): 22,
    (RETAKEN, SQLITE): 3500,
    (RETAKEN, POSTGRESQL): 3500,
}
"""Medians of a table with leases in an experiment before this, with the same lease."""

Times = dict[str, list[float]]


class Measured:
    """A service and a worker, and the times that were taken of them."""

    def __init__(self, asker: Asker, workers: Workers) -> None:
        self._asker = asker
        self._workers = workers
        self.times: Times = defaultdict(list)

    def cancelled(self, *, stands_still: bool = False) -> None:
        """A request from its beginning until it is cancelled.

        Parameters
        ----------
        stands_still
            Whether the child is stopped before, so that it does not hear.
        """
        time.sleep(AT_REST_S)
        id = self._asker.ask()
        answered_s = time.time()
        with self._asker.following(id) as heard:
            opened_s = time.time()
            queued = until(heard, EventKind.QUEUED)
            started = until(heard, EventKind.STARTED)
            told = [until(heard, PROGRESS) for _ in range(HEARD_EACH)]
            child = self._workers.child if stands_still else None
            if child is not None:
                send(child, signal.SIGSTOP)
            cancelled_s = time.time()
            self._asker.cancel(id)
            ended = until(heard, EventKind.CANCELLED)
        if stands_still:
            self.times[KILLED].append(ended.at_s - cancelled_s)
            return
        self.times[STARTED].append(started.said_s - queued.said_s)
        self.times[HEARD_STARTED].append(started.at_s - answered_s)
        self.times[FIRST_PROGRESS].append(told[0].at_s - answered_s)
        # What was told before anybody listened was not on its way.
        self.times[TOLD_PROGRESS] += [each.at_s - each.said_s for each in told if each.said_s > opened_s]
        self.times[CANCELLED].append(ended.at_s - cancelled_s)

    def retaken(self) -> None:
        """A request whose worker is killed and that another one takes."""
        self._workers.wait_for_another()
        id = self._asker.ask()
        with self._asker.following(id) as heard:
            until(heard, EventKind.STARTED)
            until(heard, PROGRESS)
            killed_s = time.time()
            self._workers.kill_who_has(str(self._asker.read(id)["worker"]))
            again = until(heard, EventKind.STARTED)
            self.times[RETAKEN].append(again.said_s - killed_s)
            self._asker.cancel(id)
            until(heard, EventKind.CANCELLED)


class Workers:
    """One worker that works; where it is to be killed, another that waits.

    Parameters
    ----------
    folder
        Where they log.
    """

    def __init__(self, url: URL, folder: Path) -> None:
        self._url = url
        self._folder = folder
        self._started = 0
        self._all: dict[str, WorkerProcess] = {}
        self._start()

    @property
    def child(self) -> int:
        """The process that searches."""
        found = [worker.child for worker in self._all.values() if worker.child is not None]
        if len(found) != 1:
            raise RuntimeError(f"{len(found)} children search, not one")
        return found[0]

    def wait_for_another(self) -> None:
        """Have one that will work and one that will wait."""
        if len(self._all) < 2:
            self._start()

    def kill_who_has(self, name: str) -> None:
        """Kill the worker that a request names."""
        (number,) = (number for number in self._all if name.startswith(f"{number}-"))
        self._all.pop(number).kill()

    def close(self) -> None:
        """End all."""
        for worker in self._all.values():
            worker.close()

    def _start(self) -> None:
        self._started += 1
        name = f"worker{self._started}"
        settings = {variable("lease"): f"{LEASE_S:g} s"}
        worker = working(self._url, name, self._folder / f"{name}.log", settings)
        self._all[name] = worker
        worker.wait_until_ready()


def measured(made: Databases, asked: argparse.Namespace) -> Iterator[Figure]:
    """Rounds of requests that are cancelled, one at a time; then of killed workers."""
    url = made.new()
    key = with_plant(url)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="runwright-latency-")))
        process = stack.enter_context(running(served(url)))
        send_sample(process.port, key, asked.sample)
        workers = stack.enter_context(closing(Workers(url, folder)))
        asker = stack.enter_context(closing(Asker(process.port, key, asked.seconds)))
        for number in range(asked.seeds):
            found = Measured(asker, workers)
            for _ in range(asked.times):
                found.cancelled()
            for _ in range(asked.still):
                found.cancelled(stands_still=True)
            for _ in range(asked.kills):
                found.retaken()
            for what, times_s in found.times.items():
                if times_s:
                    yield Figure(made.kind, PART, what, number, times_s)


def table(rows: Sequence[JsonRow]) -> FigureTable:
    """Medians of all rounds, beside those before."""
    return FigureTable(
        f"latency: ms of a planning request, one service, one worker, rounds: "
        f"{len({row['seed'] for row in rows})}",
        ("database, from → to", "median", "p90", "most", "times", "before"),
        tuple(_line(rows, database, what) for database, what in named(rows)),
        (
            f"Medians of the rounds' medians and p90s; most of all. Lease {LEASE_S:g} s. Queued and started "
            "are of the database's clock, the rest as a client over HTTP that follows the events has it. "
            "Before: medians of an experiment with a table of leases and no service around it.",
        ),
    )


def _line(rows: Sequence[JsonRow], database: str, what: str) -> tuple[str, ...]:
    rounds = of(rows, database, what)
    before = BESIDE_MS.get((what, database))
    return (
        f"{database}: {what}",
        f"{median(row['value'] for row in rounds):,.0f}",
        f"{median(row['p90_ms'] for row in rounds):,.0f}",
        f"{max(row['most_ms'] for row in rounds):,.0f}",
        f"{sum(row['count'] for row in rounds)}",
        "" if before is None else f"{before:,}",
    )
