"""A worker: claims requests as long as a slot is free, and looks after those that it has.

One thread waits for whatever comes first: children that say something, answers of the database, whoever wakes
it, and the time when something is due. It never waits for any of them alone.
"""

from __future__ import annotations

import os
import secrets
import socket
import time
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import wait
from typing import Final, Generic, Protocol, TypeVar

from app.errors import Unavailable
from app.store.claims import Claim
from app.store.wakeup import QUEUED_TOPIC
from app.telemetry import WorkerFigures, log
from app.worker.claim_book import ClaimBook
from app.worker.desk import Clerks, Desk
from app.worker.heartbeat import NEVER
from app.worker.messages import Task
from app.worker.slots import Bench, RunningChild, Slot

Result = TypeVar("Result")

REAP_EVERY_S: Final = 1.0

LOOK_EVERY_S: Final = 5.0
"""Behind being woken: so often it is looked whether something waits."""

PAUSE_S: Final = 5.0
"""Where no child could be had, nothing is claimed for so long."""

RETRY_S: Final = 1.0
"""Where the database did not answer, it is asked again so much later."""

STOPPED_WITHIN_S: Final = 2.0
"""So long handing back may take; what is not back by then others find when its lease has run out."""


class ChildSource(Protocol):
    """Where children come from."""

    @property
    def is_ready(self) -> bool:
        """Whether children can be had."""
        ...

    @property
    def due_s(self) -> float:
        """When it has to be looked at even if nothing is heard."""
        ...

    @property
    def connections(self) -> list[socket.socket]:
        """Where something may be heard."""
        ...

    def look(self) -> None:
        """Hear what has happened."""
        ...

    def child(self, task: Task) -> RunningChild:
        """A new child that does a task."""
        ...

    def close(self) -> None:
        """End all children."""
        ...


def worker_name(name: str | None = None) -> str:
    """A name that no other worker has or had: what is written is known as ours by it.

    Parameters
    ----------
    name
        What people call it; its host if None.
    """
    return f"{name or socket.gethostname()}-{os.getpid()}-{secrets.token_hex(4)}"


class Supervisor:
    """Works on requests in so many slots.

    Parameters
    ----------
    book
        Where claims are made.
    children
        Where children come from; ended with it.
    slots
        How many requests are worked on at once.
    lease_s
        How long a claim lasts without a heartbeat.
    desk
        Where calls of the book are made; threads of its own if None.
    clock
        Seconds that nobody sets back.
    """

    def __init__(
        self,
        book: ClaimBook,
        children: ChildSource,
        slots: int,
        lease_s: float,
        figures: WorkerFigures | None = None,
        desk: Desk | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._book = book
        self._children = children
        self._places = slots
        self._clock = clock
        self._figures = figures or WorkerFigures()
        self._figures.slots = slots
        self._woken, self._waker = socket.socketpair()
        for end in (self._woken, self._waker):
            end.setblocking(False)
        # For each slot a heartbeat and an end at once, and a claim and a look for what is lost.
        self._clerks = None if desk is not None else Clerks(2 * slots + 2, self._prod)
        self._desk: Desk = desk or self._clerks  # type: ignore[assignment]
        self._bench = Bench(book, self._desk, children.child, lease_s, self._figures)
        self._slots: list[Slot] = []
        self._log = log("runwright.worker")
        self._is_woken = True
        self._is_stopping = False
        self._stopped_s = NEVER
        self._claiming: _Asked[Claim | None] | None = None
        self._reaping: _Asked[int] | None = None
        self._next_claim_s = self._next_look_s = self._next_reap_s = -NEVER
        self._is_answered = True

    def wake(self, topic: str | None = None) -> None:
        """Look whether something waits; from any thread. `topic` is what has changed, None: anything."""
        if topic in (None, QUEUED_TOPIC):
            self._is_woken = True
            self._prod()

    def stop(self) -> None:
        """Claim nothing more, hand back what is not done, and end; from any thread or signal."""
        self._is_stopping = True
        self._prod()

    def run(self) -> None:
        """Work until stopped."""
        try:
            while not self.is_done:
                try:
                    self._wait_until(self.turn())
                except Exception:  # must not end the work on all others
                    self._log.error("a turn went wrong", exc_info=True)
                    time.sleep(RETRY_S)
            self._log.info("stopped", not_handed_back=[slot.claim.id for slot in self._slots])
        finally:
            self.close()

    def close(self) -> None:
        """End all children and whatever else is held."""
        self._children.close()
        if self._clerks is not None:
            self._clerks.close()
        self._woken.close()
        self._waker.close()

    @property
    def is_done(self) -> bool:
        """Whether it is stopped, and all is handed back or given up."""
        if not self._is_stopping:
            return False
        return (not self._slots and self._claiming is None) or self._clock() >= self._stopped_s

    def turn(self) -> float:
        """Hear what there is to hear and do what is due; when the next turn is due at the latest."""
        now_s = self._clock()
        self._children.look()
        self._look_after_slots(now_s)
        self._hear_claim(now_s)
        self._hear_reaped()
        if self._is_stopping:
            self._leave(now_s)
        else:
            self._reap_if_due(now_s)
            self._claim_if_due(now_s)
        return self._due_s

    def _wait_until(self, due_s: float) -> None:
        timeout_s = max(0.0, min(due_s - self._clock(), LOOK_EVERY_S))
        heard = wait([self._woken, *self._children.connections], timeout_s)
        if self._woken in heard:
            with suppress(BlockingIOError):
                self._woken.recv(4096)

    def _prod(self) -> None:
        with suppress(OSError):
            self._waker.send(b".")

    @property
    def _due_s(self) -> float:
        if any(asked is not None and asked.result.done() for asked in (self._claiming, self._reaping)):
            return -NEVER
        due = [slot.due_s for slot in self._slots]
        due.append(self._children.due_s)
        if self._is_stopping:
            due.append(self._stopped_s)
        else:
            due += [self._next_reap_s] if self._reaping is None else []
            if self._may_claim:
                due.append(max(self._next_claim_s, -NEVER if self._is_woken else self._next_look_s))
        return min(due)

    def _look_after_slots(self, now_s: float) -> None:
        for slot in self._slots:
            try:
                slot.turn(now_s)
            except Exception:
                self._log.error("a slot went wrong", request=slot.claim.id, exc_info=True)
                slot.give_up()
        if any(slot.could_not_start for slot in self._slots):
            self._next_claim_s = now_s + PAUSE_S
        over = [slot for slot in self._slots if slot.is_over]
        if over:
            self._slots = [slot for slot in self._slots if not slot.is_over]
            self._is_woken = True
        self._figures.running = len(self._slots)

    def _leave(self, now_s: float) -> None:
        if self._stopped_s == NEVER:
            self._stopped_s = now_s + STOPPED_WITHIN_S
        for slot in self._slots:
            slot.leave(now_s)

    # Claims

    @property
    def _may_claim(self) -> bool:
        has_room = len(self._slots) < self._places and self._claiming is None
        return has_room and self._children.is_ready

    def _claim_if_due(self, now_s: float) -> None:
        if not self._may_claim or now_s < self._next_claim_s:
            return
        if self._is_woken or now_s >= self._next_look_s:
            self._is_woken = False
            self._next_look_s = now_s + LOOK_EVERY_S
            self._claiming = _Asked(self._desk.do(self._book.claim), now_s)

    def _hear_claim(self, now_s: float) -> None:
        if self._claiming is None or not self._claiming.result.done():
            return
        asked, self._claiming = self._claiming, None
        try:
            claim = asked.result.result()
        except Exception as error:
            self._say_unanswered(error)
            self._is_woken = True
            self._next_claim_s = now_s + RETRY_S
            return
        self._say_answered()
        if claim is not None:
            # There may be another one.
            self._is_woken = True
            self._figures.claims += 1
            if claim.attempt == 1:
                self._figures.waited(claim.waited_s)
            self._slots.append(Slot(self._bench, claim, now_s, asked.at_s))

    # What others lost

    def _reap_if_due(self, now_s: float) -> None:
        if self._reaping is None and now_s >= self._next_reap_s:
            self._next_reap_s = now_s + REAP_EVERY_S
            self._reaping = _Asked(self._desk.do(self._book.reap), now_s)

    def _hear_reaped(self) -> None:
        if self._reaping is None or not self._reaping.result.done():
            return
        asked, self._reaping = self._reaping, None
        try:
            taken_back = asked.result.result()
        except Exception as error:
            self._say_unanswered(error)
            return
        self._say_answered()
        if taken_back:
            self._log.warning("took back what was lost", requests=taken_back)
            self._is_woken = True

    def _say_unanswered(self, error: Exception) -> None:
        """Said once, and again when it is over."""
        if not isinstance(error, Unavailable):
            self._log.error("a call went wrong", exc_info=error)
        elif self._is_answered:
            self._log.warning("the database does not answer", why=str(error))
        self._is_answered = False

    def _say_answered(self) -> None:
        if not self._is_answered:
            self._log.info("the database answers again")
        self._is_answered = True


@dataclass(frozen=True, slots=True)
class _Asked(Generic[Result]):
    """A call that was asked for."""

    result: Future[Result]
    at_s: float
