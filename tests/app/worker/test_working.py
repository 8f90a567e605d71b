"""A worker with real children on a real database: requests in, sequences out, whatever dies in between."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from multiprocessing.connection import wait
from pathlib import Path

import httpx2
import pytest
from sqlalchemy import URL

from app.contracts.locks import PositionLock
from app.contracts.planning_requests import PlanningRequest, RequestStatus
from app.contracts.sequences import Goal
from app.services import planning
from app.store import plants, requests, sequences
from app.store.requests import NewRequest
from app.store.store import Actor, Store
from app.store.wakeup import Wakeup
from app.translation.solving import Question
from app.worker.children import Child, Nursery
from app.worker.claim_book import StoredClaims
from app.worker.messages import Task
from app.worker.supervisor import Supervisor, worker_name
from tests.app.costed_plans import QUEUE
from tests.app.databases import database, migrated_postgresql, migrated_sqlite, postgresql
from tests.app.store.planning_requests import request
from tests.app.worker.asked import START, WORK, endless, planning_input
from tests.bench.service_process import free_port

__all__ = ["database", "migrated_postgresql", "migrated_sqlite", "postgresql"]

PLANT = "harbour"
ANN = Actor("Ann", PLANT)
LONGEST_S = 600.0
"""No test takes so long, even where the search is compiled first on a busy machine."""
LEASE_S = 30.0
ROOT = Path(__file__).parents[3]
on_sqlite_alone = pytest.mark.parametrize("database", ["sqlite"], indirect=True)


class Lent:
    """The children of one nursery, lent to one supervisor after the other."""

    def __init__(self, nursery: Nursery) -> None:
        self._nursery = nursery
        self.born: list[Child] = []

    def __getattr__(self, name: str) -> object:
        return getattr(self._nursery, name)

    def child(self, task: Task) -> Child:
        self.born.append(self._nursery.child(task))
        return self.born[-1]

    def close(self) -> None:
        """The nursery stays."""


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    with closing(Nursery()) as nursery:
        while not nursery.is_ready:
            nursery.look()
            wait(nursery.connections, 0.1)
        yield nursery


@pytest.fixture
def store(database: URL) -> Iterator[Store]:
    with closing(Store(database)) as store:
        with store.writing(Actor("Ann")) as work:
            plants.create(work, PLANT, QUEUE.plant)
        yield store


@contextmanager
def working(store: Store, nursery: Nursery) -> Iterator[Lent]:
    """A worker on a store, and the children that it has."""
    lent = Lent(nursery)
    book = StoredClaims(store, worker_name("w"), LEASE_S)
    supervisor = Supervisor(book, lent, slots=1, lease_s=LEASE_S)  # type: ignore[arg-type]
    thread = threading.Thread(target=supervisor.run)
    with closing(Wakeup(store.url)) as wakeup:
        wakeup.subscribe(supervisor.wake)
        wakeup.start()
        thread.start()
        try:
            yield lent
        finally:
            supervisor.stop()
            thread.join()


def asked(id: str, input: bytes, attempts: int = 2) -> NewRequest:
    return replace(request(id, attempts=attempts), input=input)


def enqueue(store: Store, id: str, input: bytes, attempts: int = 2) -> None:
    with store.writing(ANN) as work:
        requests.enqueue(work, asked(id, input, attempts))


def read(store: Store, id: str) -> PlanningRequest:
    with store.reading(PLANT) as view:
        return requests.read(view, id)


def until(store: Store, id: str, happened: Callable[[PlanningRequest], bool]) -> PlanningRequest:
    """The request once something has become of it."""
    ends_s = time.monotonic() + LONGEST_S
    while not happened(found := read(store, id)):
        assert time.monotonic() < ends_s, found
        time.sleep(0.02)
    return found


def over(store: Store, id: str) -> PlanningRequest:
    return until(store, id, lambda found: found.status.is_over)


def begun(store: Store, id: str, attempt: int = 1) -> PlanningRequest:
    """The request once its search tells how far it is."""
    return until(store, id, lambda found: found.attempt == attempt and found.progress is not None)


def kinds(store: Store, id: str) -> list[str]:
    """What has happened to a request."""
    with store.reading(PLANT) as view:
        return [event.kind.value for event in requests.events_after(view, id, 0)]


def test_what_is_asked_for_is_found_and_kept(store: Store, nursery: Nursery) -> None:
    enqueue(store, "R-1", planning_input(alternatives=2, reasons=True))
    with working(store, nursery):
        found = over(store, "R-1")
    assert found.status is RequestStatus.FINISHED
    assert kinds(store, "R-1") == ["queued", "started", "finished"]
    assert found.result is not None
    assert found.result.is_whole
    expected = planning.plan(
        Question(QUEUE.plant, QUEUE.jobs, START), Goal.BALANCED, work=WORK, alternatives=2
    )
    names = [found.result.sequence, *(other.sequence for other in found.result.alternatives)]
    with store.reading(PLANT) as view:
        kept = [sequences.read(view, name).plan for name in names]
        reasons = requests.reasons(view, "R-1")
    assert kept[0] == expected
    assert [plan.sequence for plan in kept[1:]] == [other.sequence for other in expected.alternatives]
    assert reasons is not None
    assert len(reasons.runs) == len(QUEUE.jobs)


def test_a_cancelled_search_keeps_what_it_had(store: Store, nursery: Nursery) -> None:
    enqueue(store, "R-1", endless())
    with working(store, nursery):
        begun(store, "R-1")
        with store.writing(ANN) as work:
            requests.cancel(work, "R-1")
        found = over(store, "R-1")
    assert found.status is RequestStatus.CANCELLED
    assert found.progress is not None
    assert found.result is not None
    assert not found.result.is_whole
    with store.reading(PLANT) as view:
        assert sequences.read(view, found.result.sequence).plan.sequence.totals.jobs > 0


@on_sqlite_alone
def test_a_search_that_cannot_stop_any_more_keeps_what_it_had(store: Store, nursery: Nursery) -> None:
    enqueue(store, "R-1", endless())
    with working(store, nursery) as children:
        begun(store, "R-1")
        [child] = children.born
        assert child.process is not None
        os.kill(child.process, signal.SIGSTOP)
        with store.writing(ANN) as work:
            requests.cancel(work, "R-1")
        found = over(store, "R-1")
    assert len(children.born) == 2
    assert found.status is RequestStatus.CANCELLED
    assert found.result is not None
    assert found.result.search is None
    with store.reading(PLANT) as view:
        assert sequences.read(view, found.result.sequence).plan.sequence.totals.jobs > 0


@on_sqlite_alone
def test_a_child_that_is_killed_at_every_attempt_is_given_up(store: Store, nursery: Nursery) -> None:
    enqueue(store, "R-1", endless(), attempts=2)
    with working(store, nursery) as children:
        for attempt in (1, 2):
            begun(store, "R-1", attempt)
            process = children.born[-1].process
            assert process is not None
            os.kill(process, signal.SIGKILL)
        found = over(store, "R-1")
    assert found.status is RequestStatus.DEAD
    assert found.problem is not None
    assert "SIGKILL" in found.problem.detail
    assert kinds(store, "R-1") == ["queued", "started", "retried", "started", "dead"]


@on_sqlite_alone
def test_locks_that_contradict_each_other_fail_at_once(store: Store, nursery: Nursery) -> None:
    job = QUEUE.jobs[0].job
    locks = [PositionLock(lock="at-position", job=job, position=position) for position in (1, 2)]
    enqueue(store, "R-1", planning_input(locks=locks))
    with working(store, nursery):
        found = over(store, "R-1")
    assert found.status is RequestStatus.FAILED
    assert found.problem is not None
    assert [error.field for error in found.problem.errors] == ["locks"]
    assert found.attempt == 1


@on_sqlite_alone
def test_what_a_worker_hands_back_another_one_takes(store: Store, nursery: Nursery) -> None:
    enqueue(store, "R-1", endless(), attempts=1)
    with working(store, nursery):
        begun(store, "R-1")
    handed_back = read(store, "R-1")
    assert (handed_back.status, handed_back.attempts_left) == (RequestStatus.QUEUED, 1)
    with working(store, nursery):
        begun(store, "R-1", attempt=2)
        with store.writing(ANN) as work:
            requests.cancel(work, "R-1")
        assert over(store, "R-1").status is RequestStatus.CANCELLED


@on_sqlite_alone
def test_runwright_worker_works_until_a_signal_ends_it(store: Store, tmp_path: Path) -> None:
    address = store.url.render_as_string(hide_password=False)
    enqueue(store, "R-1", planning_input())
    command = [sys.executable, "-m", "app.cli", "worker", "--database", address, "--name", "press"]
    without = {name: value for name, value in os.environ.items() if not name.startswith("RUNWRIGHT_")}
    port = free_port()
    with (
        (tmp_path / "log").open("w") as log,
        subprocess.Popen(
            command,
            cwd=tmp_path,
            env={**without, "PYTHONPATH": str(ROOT), "RUNWRIGHT_FIGURES_PORT": str(port)},
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
        ) as process,
    ):
        assert over(store, "R-1").status is RequestStatus.FINISHED
        enqueue(store, "R-2", endless())
        begun(store, "R-2")
        assert "runwright_planning_claims_total 2.0" in httpx2.get(f"http://127.0.0.1:{port}/metrics").text
        process.send_signal(signal.SIGTERM)
        told, _ = process.communicate()
    assert process.returncode == 0, (tmp_path / "log").read_text()
    assert address in told
    assert read(store, "R-1").worker.startswith("press-")  # type: ignore[union-attr]
    assert read(store, "R-2").status is RequestStatus.QUEUED
