"""Whatever workers and people do in whatever order, a request is one worker's at a time and ends once."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import ClassVar

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import delete, func, select

from app.contracts.planning_requests import EventKind, Priority, RequestStatus
from app.errors import Conflict, NotStored
from app.store import claims, requests
from app.store.claims import Claim, Ended
from app.store.listing import Query
from app.store.store import Store, Work
from app.store.tables import Base
from tests.app.store.planning_requests import FAILED, SUPERVISOR, as_worker, found, request
from tests.app.store.things import ANN, NOON
from tests.examples import examples

QUEUED, RUNNING, DEAD = RequestStatus.QUEUED, RequestStatus.RUNNING, RequestStatus.DEAD
SEQUENCES_OF_A_RESULT = 3
BACK = st.integers(0, 3)
"""How far back a request or a claim lies: what came last is where something still happens."""

ENDS = {
    "found": Ended(RequestStatus.FINISHED, found()),
    "broken off": Ended(RequestStatus.CANCELLED, found(is_whole=False)),
    "without a sequence": Ended(RequestStatus.FINISHED),
    "failed": FAILED,
}
SEQUENCES = Base.metadata.tables["sequences"]
ENDINGS = {EventKind(status.value) for status in RequestStatus if status.is_over}


class ClockByHand:
    """A clock that stands until it is moved on."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> datetime:
        return NOON + timedelta(seconds=self.seconds)


@dataclass
class Plain:
    """A request as it should be, in the plainest of ways."""

    id: str
    rank: int
    attempts: int
    left: int
    status: RequestStatus = QUEUED
    attempt: int = 0
    worker: str | None = None
    lease_until: float = 0
    cancelled: bool = False
    ends: int = 0
    has_result: bool = False

    def is_of(self, claim: Claim) -> bool:
        ours = (self.worker, self.attempt) == (claim.worker, claim.attempt)
        return ours and self.status is RUNNING

    def end(self, status: RequestStatus) -> None:
        self.status = status
        self.ends += 1

    def lose(self) -> None:
        if self.cancelled:
            self.end(RequestStatus.CANCELLED)
        elif self.left:
            self.status = QUEUED
        else:
            self.end(DEAD)


class QueueOfRequests(RuleBasedStateMachine):
    """A queue in a database beside the plain one."""

    store: ClassVar[Store]
    clock: ClassVar[ClockByHand]

    def __init__(self) -> None:
        super().__init__()
        self.clock.seconds = 0
        self.plain: dict[str, Plain] = {}
        self.ids: list[str] = []
        self.claims: list[Claim] = []
        self.sequences = 0
        with self.store.engine.begin() as connection:
            for table in (requests.REQUESTS, SEQUENCES):
                connection.execute(delete(table))

    @rule(priority=st.sampled_from(Priority), attempts=st.integers(1, 3))
    def ask(self, priority: Priority, attempts: int) -> None:
        id = f"R-{len(self.ids)}"
        self.ids.append(id)
        with self.store.writing(ANN) as work:
            requests.enqueue(work, request(id, priority, attempts))
        self.plain[id] = Plain(id, priority.rank, attempts, attempts)

    @rule(worker=st.sampled_from(["w-1", "w-2"]), lease_s=st.sampled_from([2.0, 5.0]))
    def claim(self, worker: str, lease_s: float) -> None:
        waiting = [plain for plain in self.plain.values() if plain.status is QUEUED]
        with self.store.writing(SUPERVISOR) as work:
            claim = claims.claim(work, worker, lease_s)
        if claim is None:
            assert not waiting
            return
        plain = max(waiting, key=lambda plain: plain.rank)
        assert claim.id == plain.id
        plain.status, plain.worker = RUNNING, worker
        plain.attempt += 1
        plain.left -= 1
        plain.lease_until = self.clock.seconds + lease_s
        assert (claim.attempt, claim.cancel_requested) == (plain.attempt, False)
        self.claims.append(claim)

    @precondition(lambda self: self.claims)
    @rule(back=BACK, lease_s=st.sampled_from([2.0, 5.0]))
    def beat(self, back: int, lease_s: float) -> None:
        claim = self.claims[-1 - back % len(self.claims)]
        with self.store.writing(as_worker(claim)) as work:
            heard = claims.beat(work, claim, lease_s, None, None)
        plain = self.of(claim)
        assert (heard is not None) == (plain is not None)
        if plain is not None and heard is not None:
            assert heard.cancel_requested == plain.cancelled
            plain.lease_until = self.clock.seconds + lease_s

    @precondition(lambda self: self.claims)
    @rule(back=BACK, how=st.sampled_from(sorted(ENDS)))
    def finish(self, back: int, how: str) -> None:
        claim = self.claims[-1 - back % len(self.claims)]
        with self.store.writing(as_worker(claim)) as work:
            ours = claims.finish(work, claim, ENDS[how])
        plain = self.of(claim)
        assert ours == (plain is not None)
        if plain is not None:
            plain.end(ENDS[how].status)
            plain.has_result = ENDS[how].found is not None
            self.sequences += SEQUENCES_OF_A_RESULT * plain.has_result

    @precondition(lambda self: self.claims)
    @rule(back=BACK)
    def hand_back(self, back: int) -> None:
        claim = self.claims[-1 - back % len(self.claims)]
        with self.store.writing(as_worker(claim)) as work:
            ours = claims.hand_back(work, claim)
        plain = self.of(claim)
        assert ours == (plain is not None)
        if plain is None:
            return
        if plain.cancelled:
            plain.end(RequestStatus.CANCELLED)
        else:
            plain.status = QUEUED
            plain.left += 1

    @precondition(lambda self: self.claims)
    @rule(back=BACK)
    def crash(self, back: int) -> None:
        claim = self.claims[-1 - back % len(self.claims)]
        with self.store.writing(as_worker(claim)) as work:
            ours = claims.crashed(work, claim, "killed")
        plain = self.of(claim)
        assert ours == (plain is not None)
        if plain is not None:
            plain.lose()

    @rule(seconds=st.sampled_from([1.0, 10.0]))
    def time_passes(self, seconds: float) -> None:
        self.clock.seconds += seconds

    @rule(seconds=st.sampled_from([0.0, 1.0, 3.0, 4.0]))
    def reap(self, seconds: float) -> None:
        self.clock.seconds += seconds
        with self.store.writing(SUPERVISOR) as work:
            count = claims.reap(work)
        lost = [plain for plain in self.running() if plain.lease_until < self.clock.seconds]
        assert count == len(lost)
        for plain in lost:
            plain.lose()

    @precondition(lambda self: self.ids)
    @rule(back=BACK)
    def cancel(self, back: int) -> None:
        id = self.ids[-1 - back % len(self.ids)]
        plain = self.plain.get(id)
        may = plain is not None and not plain.status.is_over
        assert self.done(requests.cancel, id) == may
        if plain is None or not may:
            return
        if plain.status is QUEUED:
            plain.end(RequestStatus.CANCELLED)
        plain.cancelled = True

    @precondition(lambda self: self.ids)
    @rule(back=BACK)
    def resend(self, back: int) -> None:
        id = self.ids[-1 - back % len(self.ids)]
        plain = self.plain.get(id)
        may = plain is not None and plain.status in (RequestStatus.FAILED, DEAD)
        assert self.done(requests.resend, id) == may
        if plain is not None and may:
            plain.status, plain.left, plain.cancelled = QUEUED, plain.attempts, False

    @precondition(lambda self: self.ids)
    @rule(back=BACK)
    def remove(self, back: int) -> None:
        id = self.ids[-1 - back % len(self.ids)]
        plain = self.plain.get(id)
        may = plain is not None and plain.status.is_over
        assert self.done(requests.remove, id) == may
        if may:
            del self.plain[id]

    @invariant()
    def what_is_shown_is_as_it_should_be(self) -> None:
        with self.store.reading("here") as view:
            shown = {found.id: found for found in requests.listed(view, Query(limit=200)).items}
            kept = view.connection.execute(select(func.count()).select_from(SEQUENCES)).scalar_one()
        assert shown.keys() == self.plain.keys()
        for id, plain in self.plain.items():
            found = shown[id]
            assert (found.status, found.worker) == (plain.status, plain.worker)
            assert (found.attempt, found.attempts_left) == (plain.attempt, plain.left)
            assert (found.cancel_requested_at is not None) == plain.cancelled
            assert (found.ended_at is not None) == plain.status.is_over
            assert (found.result is not None) == plain.has_result
            assert (found.problem is not None) == (found.status in (RequestStatus.FAILED, DEAD))
        assert kept == self.sequences

    def teardown(self) -> None:
        """What happened is told without a gap, and every end once."""
        with self.store.reading("here") as view:
            for id, plain in self.plain.items():
                happened = requests.events_after(view, id, 0)
                assert [event.number for event in happened] == list(range(1, len(happened) + 1))
                assert sum(event.kind in ENDINGS for event in happened) == plain.ends

    def of(self, claim: Claim) -> Plain | None:
        """The request of a claim, if it still is that."""
        plain = self.plain.get(claim.id)
        return plain if plain is not None and plain.is_of(claim) else None

    def running(self) -> Iterator[Plain]:
        return (plain for plain in self.plain.values() if plain.status is RUNNING)

    def done(self, act: Callable[[Work, str], object], id: str) -> bool:
        try:
            with self.store.writing(ANN) as work:
                act(work, id)
        except (Conflict, NotStored):
            return False
        return True


def test_the_queue_is_what_a_plain_one_would_be(planted_sqlite: Path, tmp_path: Path) -> None:
    path = tmp_path / "queue.db"
    shutil.copyfile(planted_sqlite, path)
    QueueOfRequests.clock = ClockByHand()
    QueueOfRequests.store = Store(f"sqlite:///{path}", QueueOfRequests.clock)
    run_state_machine_as_test(QueueOfRequests, settings=settings(examples(25), stateful_step_count=40))
    QueueOfRequests.store.close()
