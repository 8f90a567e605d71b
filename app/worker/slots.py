"""One request on a slot of a worker, from its claim to its end.

Nothing here waits: a slot is given turns, in each of which it hears its child and the answers of the claim
book, does what is due by then, and tells when its next turn is due at the latest.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from enum import Enum
from typing import Final, Protocol

from app.contracts.planning_requests import RequestStatus
from app.errors import Unavailable
from app.store.claims import Claim, Ended, Found
from app.telemetry import WorkerFigures, log
from app.worker.claim_book import ClaimBook
from app.worker.desk import Desk
from app.worker.heartbeat import AGAIN_AFTER_S, NEVER, Heartbeat, Unanswered
from app.worker.messages import (
    Began,
    CostTask,
    Done,
    Explained,
    Further,
    Gone,
    Incumbent,
    Message,
    NotStarted,
    Planned,
    Refused,
    SearchTask,
    Task,
)
from app.worker.problems import INTERNAL_FAULT, out_of_time

STOPS_WITHIN_S: Final = 0.5
"""A child that is asked to stop is killed so much later."""

COSTED_WITHIN_S: Final = 60.0
"""So long an order may take to be costed after its search was broken off."""

HANDED_BACK, CRASHED, LOST = "handed back", "crashed", "lost"
"""How work ends here where the request does not end."""


class RunningChild(Protocol):
    """A child process that does a task. Everything may be asked of one that is gone."""

    def messages(self) -> list[Message]:
        """What it has said since it was asked last; the last of all is `Gone` or `NotStarted`."""
        ...

    def ask_to_stop(self) -> None:
        """Ask it for what there is."""
        ...

    def kill(self) -> None:
        """End it, whatever it is at, and hear nothing more of it."""
        ...

    def close(self) -> None:
        """Hear nothing more of one that has done."""
        ...


@dataclass(frozen=True, slots=True)
class Bench:
    """What a slot works with."""

    book: ClaimBook
    desk: Desk
    child: Callable[[Task], RunningChild]
    lease_s: float
    figures: WorkerFigures


class Why(Enum):
    """Why a search is ended before its end."""

    CANCELLED = "cancelled"
    OUT_OF_TIME = "out of time"


class Phase(Enum):
    """What a slot is at."""

    SEARCHING = "searching"
    COSTING = "costing"
    ENDING = "ending"
    OVER = "over"


class Slot:
    """Works on one claim.

    Parameters
    ----------
    now_s
        A clock that nobody sets, in seconds; the same that tells the time of turns.
    claimed_s
        When the claim was asked for.
    """

    def __init__(self, bench: Bench, claim: Claim, now_s: float, claimed_s: float) -> None:
        self.claim = claim
        self.phase = Phase.SEARCHING
        self.could_not_start = False
        """Whether no child could be had, so that nobody should claim more for a while."""
        self._bench = bench
        self._log = log("runwright.worker").bind(request=claim.id, plant=claim.plant, attempt=claim.attempt)
        self._claimed_s = claimed_s
        self._limit_s = now_s + claim.limit_s
        self._heartbeat = Heartbeat(bench.book, bench.desk, claim, bench.lease_s, claimed_s)
        self._child: RunningChild | None = None
        self._why: Why | None = None
        self._kill_s = NEVER
        self._incumbent: bytes | None = None
        self._planned: Planned | None = None
        self._reasons: bytes | None = None
        self._ending: Callable[[], bool] | None = None
        self._ends_as = ""
        self._end: Future[bool] | None = None
        self._next_end_s = NEVER
        self._is_answered = True
        self._log.info("claimed", limit_s=claim.limit_s)
        if claim.cancel_requested:
            self._why = Why.CANCELLED
            self._end_without()
        else:
            self._start(SearchTask(claim.input))

    @property
    def is_over(self) -> bool:
        """Whether nothing more is to be done."""
        return self.phase is Phase.OVER

    @property
    def due_s(self) -> float:
        """When the next turn is due at the latest."""
        if self.is_over:
            return NEVER
        if self._heartbeat.is_heard or (self._end is not None and self._end.done()):
            return -NEVER
        due = [self._kill_s, self._next_end_s]
        if self._has_child:
            due.append(self._heartbeat.lost_s)
        if not self._is_leaving:
            due.append(self._heartbeat.due_s)
        if self.phase is Phase.SEARCHING and self._why is None:
            due.append(self._limit_s)
        return min(due)

    def turn(self, now_s: float) -> None:
        """Hear what there is to hear, and do what is due."""
        self._hear_heartbeat(now_s)
        self._hear_end(now_s)
        self._hear_child(now_s)
        self._keep_time(now_s)
        self._write(now_s)
        if not self.is_over and not self._is_leaving:
            self._heartbeat.send_if_due(now_s)

    def leave(self, now_s: float) -> None:
        """Give the request back to whoever takes it next, unless there is something to end it with."""
        if not self._has_child:
            return
        self._drop_child()
        if self._planned is not None:
            self._done()
        else:
            self._hand_back()
        self._write(now_s)

    def give_up(self) -> None:
        """End the child and write nothing: something went wrong that nobody foresaw."""
        self._lose("it went wrong here")

    @property
    def _has_child(self) -> bool:
        return self.phase in (Phase.SEARCHING, Phase.COSTING)

    @property
    def _is_leaving(self) -> bool:
        """Whether it is given back, so that nothing more is told of it."""
        return self._ends_as == HANDED_BACK

    # What is heard

    def _hear_heartbeat(self, now_s: float) -> None:
        if not self._heartbeat.is_heard:
            return
        try:
            beat = self._heartbeat.heard()
        except Unanswered as error:
            self._was_unanswered("heartbeat", error.__cause__)
            return
        if self.is_over or self._end is not None:
            return  # its end is written meanwhile, or was
        if beat is None:
            self._lose("somebody else has it")
            return
        self._is_answered = True
        if beat.cancel_requested:
            self._stop(Why.CANCELLED, now_s)

    def _hear_end(self, now_s: float) -> None:
        if self._end is None or not self._end.done():
            return
        call, self._end = self._end, None
        try:
            is_written = call.result()
        except Unavailable as error:
            self._was_unanswered("end", error)
            self._next_end_s = now_s + AGAIN_AFTER_S
        except Exception:
            self._log.error("its end could not be written", exc_info=True)
            self._end_otherwise()
        else:
            self._over(self._ends_as if is_written else LOST)

    def _hear_child(self, now_s: float) -> None:
        while self._child is not None and (messages := self._child.messages()):
            for message in messages:
                if self._child is not None:
                    self._hear(message, now_s)

    def _hear(self, message: Message, now_s: float) -> None:
        match message:
            case Began():
                self._bench.figures.began(now_s - self._claimed_s)
            case Further(progress):
                self._heartbeat.tell_progress(progress)
            case Incumbent(order):
                self._incumbent = order
                self._heartbeat.tell_order(order)
            case Planned():
                self._planned = message
            case Explained(reasons):
                self._reasons = reasons
            case Done():
                self._done()
            case Refused():
                self._refused(message, now_s)
            case Gone(why):
                self._broken(now_s, why)
            case NotStarted(why):
                self._had_no_child(why)

    def _refused(self, refused: Refused, now_s: float) -> None:
        if refused.details:
            self._log.error("the child did not foresee this", details=refused.details)
        if self._planned is not None:
            self._done()  # only its reasons could not be told
        elif self.phase is Phase.COSTING:
            self._broken(now_s, refused.problem.detail)
        else:
            self._drop_child()
            self._finish(Ended(RequestStatus.FAILED, problem=refused.problem))

    # What follows

    def _start(self, task: Task) -> None:
        try:
            self._child = self._bench.child(task)
        except OSError as error:
            self._had_no_child(str(error))

    def _had_no_child(self, why: str) -> None:
        """That is the fault of this machine, not of the request."""
        self._log.error("no child could be had", why=why)
        self.could_not_start = True
        self._drop_child()
        self._hand_back()

    def _stop(self, why: Why, now_s: float) -> None:
        """Ask the child for what there is, and give it a moment."""
        if self.phase is not Phase.SEARCHING or self._why is not None or self._child is None:
            return
        self._log.info("asked to stop", why=why.value)
        self._why = why
        self._kill_s = now_s + STOPS_WITHIN_S
        self._child.ask_to_stop()

    def _broken(self, now_s: float, why: str) -> None:
        """The child is gone before it was done."""
        self._drop_child()
        if self._planned is not None:
            self._done()
        elif self._why is None:
            self._log.warning("crashed", why=why)
            self._end_as(CRASHED, lambda: self._bench.book.crashed(self.claim, why))
        elif self.phase is Phase.SEARCHING and self._incumbent is not None:
            self.phase = Phase.COSTING
            self._kill_s = now_s + COSTED_WITHIN_S
            self._start(CostTask(self.claim.input, self._incumbent))
        else:
            if self.phase is Phase.COSTING:
                self._log.error("the best order so far was not costed", why=why)
            self._end_without()

    def _done(self) -> None:
        """End with what was found."""
        if self._child is not None:
            self._child.close()
        self._child, planned = None, self._planned
        if planned is None:
            self._end_without()
            return
        found = Found(planned.plan, planned.alternatives, self._reasons, planned.is_whole)
        is_cancelled = self._why is Why.CANCELLED
        self._finish(Ended(RequestStatus.CANCELLED if is_cancelled else RequestStatus.FINISHED, found))

    def _end_without(self) -> None:
        """End without anything found."""
        if self._why is Why.CANCELLED:
            self._finish(Ended(RequestStatus.CANCELLED))
        else:
            self._finish(Ended(RequestStatus.FAILED, problem=out_of_time(self.claim.limit_s)))

    def _hand_back(self) -> None:
        self._end_as(HANDED_BACK, lambda: self._bench.book.hand_back(self.claim))

    def _finish(self, ended: Ended) -> None:
        self._end_as(ended.status.value, lambda: self._bench.book.finish(self.claim, ended))

    def _end_as(self, ends_as: str, ending: Callable[[], bool]) -> None:
        """Write that from the next turn on, until it is answered."""
        self.phase = Phase.ENDING
        self._ends_as, self._ending = ends_as, ending
        self._kill_s, self._next_end_s = NEVER, -NEVER

    def _end_otherwise(self) -> None:
        """What was to be written cannot be: say so, once. If even that fails, others will find the request
        when its lease has run out.
        """
        if self._ends_as == RequestStatus.FAILED.value:
            self._over(LOST)
        else:
            self._finish(Ended(RequestStatus.FAILED, problem=INTERNAL_FAULT))

    def _lose(self, why: str) -> None:
        """The request is not ours any more: end the child, write nothing."""
        self._log.warning("lost", why=why)
        self._drop_child()
        self._over(LOST)

    def _over(self, ended_as: str) -> None:
        self.phase = Phase.OVER
        self._bench.figures.ended(ended_as)
        self._log.info("ended", status=ended_as)

    def _drop_child(self) -> None:
        if self._child is not None:
            self._child.kill()
        self._child = None
        self._kill_s = NEVER

    # What is due

    def _keep_time(self, now_s: float) -> None:
        if self._has_child and now_s >= self._heartbeat.lost_s:
            self._lose("the database has not answered for the length of a lease")
        if self.phase is Phase.SEARCHING and now_s >= self._limit_s:
            self._stop(Why.OUT_OF_TIME, now_s)
        if now_s >= self._kill_s:
            self._broken(now_s, "it did not stop")

    def _write(self, now_s: float) -> None:
        if self.phase is Phase.ENDING and self._ending is not None and now_s >= self._next_end_s:
            self._next_end_s = NEVER
            self._end = self._bench.desk.do(self._ending)

    def _was_unanswered(self, what: str, error: BaseException | None) -> None:
        """Said once, until somebody answers again."""
        if not isinstance(error, Unavailable):
            self._log.error("a call went wrong", call=what, exc_info=error)
        elif self._is_answered:
            self._log.warning("the database does not answer", call=what, why=str(error))
        self._is_answered = False
