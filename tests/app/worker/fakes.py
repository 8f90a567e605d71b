"""A worker's surroundings without time, processes or a database: every order of events can be had."""

from __future__ import annotations

import socket
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, TypeVar

from app.contracts.planning_requests import RequestProgress, RequestStatus
from app.contracts.sequences import Progress
from app.errors import Unavailable
from app.store.claims import Beat, Claim, Ended
from app.telemetry import WorkerFigures
from app.worker.messages import Done, Further, Incumbent, Message, Planned, Task
from app.worker.supervisor import Supervisor

Result = TypeVar("Result")

LEASE_S = 6.0
LIMIT_S = 100.0
OURS, ANOTHER = "ours", "another"
PLAN = Planned(b"plan", (b"alternative 1",), is_whole=True)
ORDER, BETTER_ORDER = b"an order", b"a better order"


@dataclass
class Clock:
    """Time that passes when a test says so."""

    now_s: float = 1000.0

    def __call__(self) -> float:
        return self.now_s


@dataclass
class Row:
    """A request as the book has it."""

    id: str
    cancel_requested: bool = False
    status: RequestStatus = RequestStatus.QUEUED
    worker: str = ""
    attempt: int = 0
    attempts_left: int = 2
    limit_s: float = LIMIT_S
    ended: Ended | None = None
    beats: list[tuple[RequestProgress | None, bytes | None]] = field(default_factory=list)
    crashes: list[str] = field(default_factory=list)


@dataclass
class Book:
    """Claims in memory, kept as the store keeps them. While `is_away` nobody answers, nothing is written."""

    rows: dict[str, Row] = field(default_factory=dict)
    is_away: bool = False
    fails_with: Exception | None = None
    reaped: int = 0
    asked: int = 0

    def add(self, id: str, **changes: Any) -> Row:
        self.rows[id] = Row(id, **changes)
        return self.rows[id]

    def claim(self) -> Claim | None:
        self._answer()
        self.asked += 1
        for row in self.rows.values():
            if row.status is RequestStatus.QUEUED:
                row.status, row.worker = RequestStatus.RUNNING, OURS
                row.attempt, row.attempts_left = row.attempt + 1, row.attempts_left - 1
                return self._claim_of(row)
        return None

    def beat(self, claim: Claim, progress: RequestProgress | None, incumbent: bytes | None) -> Beat | None:
        row = self._ours(claim)
        if row is None:
            return None
        row.beats.append((progress, incumbent))
        return Beat(row.cancel_requested)

    def finish(self, claim: Claim, ended: Ended) -> bool:
        row = self._ours(claim)
        if self.fails_with is not None and ended.problem is None:
            raise self.fails_with
        if row is None:
            return False
        row.status, row.ended = ended.status, ended
        return True

    def hand_back(self, claim: Claim) -> bool:
        row = self._ours(claim)
        if row is None:
            return False
        row.status, row.attempts_left = RequestStatus.QUEUED, row.attempts_left + 1
        return True

    def crashed(self, claim: Claim, why: str) -> bool:
        row = self._ours(claim)
        if row is None:
            return False
        row.crashes.append(why)
        row.status = RequestStatus.QUEUED if row.attempts_left else RequestStatus.DEAD
        return True

    def reap(self) -> int:
        self._answer()
        self.reaped += 1
        return 0

    def _answer(self) -> None:
        if self.is_away:
            raise Unavailable("The database does not answer: it is away")

    def _ours(self, claim: Claim) -> Row | None:
        self._answer()
        row = self.rows[claim.id]
        is_ours = (row.worker, row.attempt, row.status) == (
            claim.worker,
            claim.attempt,
            RequestStatus.RUNNING,
        )
        return row if is_ours else None

    def _claim_of(self, row: Row) -> Claim:
        return Claim(
            pk=1,
            plant="main",
            id=row.id,
            attempt=row.attempt,
            input=b"input",
            limit_s=row.limit_s,
            cancel_requested=row.cancel_requested,
            worker=row.worker,
            state="",
        )


@dataclass
class FakeDesk:
    """Makes calls at once, or when a test says so."""

    is_held: bool = False
    held: list[Callable[[], None]] = field(default_factory=list)

    def do(self, call: Callable[[], Result]) -> Future[Result]:
        result: Future[Result] = Future()

        def made() -> None:
            try:
                result.set_result(call())
            except Exception as error:
                result.set_exception(error)

        if self.is_held:
            self.held.append(made)
        else:
            made()
        return result

    def let_go(self) -> None:
        """Make the calls that were held up."""
        self.is_held = False
        held, self.held = self.held, []
        for made in held:
            made()


@dataclass
class FakeChild:
    """A child that says what a test has it say."""

    task: Task
    says: list[Message] = field(default_factory=list)
    is_asked_to_stop: bool = False
    is_killed: bool = False
    is_closed: bool = False

    def say(self, *messages: Message) -> None:
        self.says += messages

    def messages(self) -> list[Message]:
        says, self.says = self.says, []
        return says

    def ask_to_stop(self) -> None:
        self.is_asked_to_stop = True

    def kill(self) -> None:
        self.is_killed = True

    def close(self) -> None:
        self.is_closed = True

    @property
    def untouched(self) -> bool:
        return self.lives and not self.is_asked_to_stop

    @property
    def lives(self) -> bool:
        return not (self.is_killed or self.is_closed)


@dataclass
class FakeChildren:
    """Children that a test speaks for."""

    born: list[FakeChild] = field(default_factory=list)
    is_ready: bool = True
    due_s: float = float("inf")
    fails_with: OSError | None = None

    @property
    def connections(self) -> list[socket.socket]:
        return []

    def look(self) -> None:
        pass

    def child(self, task: Task) -> FakeChild:
        if self.fails_with is not None:
            raise self.fails_with
        self.born.append(FakeChild(task))
        return self.born[-1]

    def close(self) -> None:
        pass


class Worker:
    """A supervisor in such surroundings."""

    def __init__(self, slots: int = 1) -> None:
        self.clock, self.book, self.desk, self.children = Clock(), Book(), FakeDesk(), FakeChildren()
        self.figures = WorkerFigures()
        self.supervisor = Supervisor(
            self.book, self.children, slots, LEASE_S, self.figures, desk=self.desk, clock=self.clock
        )

    def close(self) -> None:
        self.supervisor.close()

    def goes_on(self, seconds: float = 0.0) -> None:
        """Give it every turn that it asks for until so many seconds have passed."""
        end_s = self.clock.now_s + seconds
        for _ in range(10_000):
            due_s = self.supervisor.turn()
            if due_s > end_s or self.supervisor.is_done:
                break
            self.clock.now_s = max(self.clock.now_s, due_s)
        else:
            raise AssertionError("it never comes to rest")
        self.clock.now_s = end_s
        self.supervisor.turn()

    @property
    def child(self) -> FakeChild:
        """The child that was born last."""
        return self.children.born[-1]

    def works_on(self, id: str = "R-1", **changes: Any) -> tuple[Row, FakeChild]:
        """A request that it has just taken, and the child that searches."""
        row = self.book.add(id, **changes)
        self.supervisor.wake()
        self.goes_on()
        assert row.status is RequestStatus.RUNNING
        return row, self.child

    def hears(self, child: FakeChild, *messages: Message) -> None:
        child.say(*messages)
        self.goes_on()

    def ends(self, child: FakeChild, planned: Planned = PLAN) -> None:
        """The child tells what it found and is done."""
        self.hears(child, planned, Done())


def further(work: int) -> Further:
    """So much was tried."""
    return Further(Progress(best_eur=10.0, left_out=0, work=work, elapsed_s=1.0, percent=50.0))


def incumbent(order: bytes = ORDER) -> Incumbent:
    return Incumbent(order)
