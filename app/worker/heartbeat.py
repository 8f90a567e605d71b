"""Keeps a claim: renews its lease, tells how far the search is, and hears whether anybody wants it to end."""

from __future__ import annotations

from concurrent.futures import Future
from datetime import UTC, datetime
from typing import Final

from app.contracts.planning_requests import RequestProgress
from app.contracts.sequences import Progress
from app.store.claims import Beat, Claim
from app.worker.claim_book import ClaimBook
from app.worker.desk import Desk

BEAT_EVERY_S: Final = 1.0
PROGRESS_EVERY_S: Final = 0.25
"""Heartbeats while there is progress to be told."""

BEATS_A_LEASE: Final = 3
"""A short lease is renewed so many times before it runs out."""

AGAIN_AFTER_S: Final = 0.5
"""A call that the database did not answer is made again so much later."""

LATE_S: Final = 1.0
"""So long an answer is waited for beyond the lease where the call came late."""

NEVER: Final = float("inf")


class Unanswered(Exception):
    """A heartbeat that the database did not answer, or that went wrong; the cause says how."""


class Heartbeat:
    """The heartbeats of one claim, one call at a time.

    Parameters
    ----------
    claimed_s
        When the claim was asked for: the lease ends no earlier than so much later.
    """

    def __init__(self, book: ClaimBook, desk: Desk, claim: Claim, lease_s: float, claimed_s: float) -> None:
        self._book = book
        self._desk = desk
        self._claim = claim
        self._lease_s = lease_s
        self._lease_ends_s = claimed_s + lease_s
        self._call: Future[Beat | None] | None = None
        self._called_s = claimed_s
        self._is_answered = True
        self._order: bytes | None = None
        self._untold_order: bytes | None = None
        self._untold_progress: Progress | None = None
        self._told = 0

    def tell_progress(self, progress: Progress) -> None:
        """Tell with the next heartbeat how far the search is."""
        self._untold_progress = progress

    def tell_order(self, order: bytes) -> None:
        """Tell with the next heartbeat the best order so far."""
        self._order = self._untold_order = order

    @property
    def is_heard(self) -> bool:
        """Whether the last one was answered, and that has not been looked at."""
        return self._call is not None and self._call.done()

    def heard(self) -> Beat | None:
        """What the last one has heard; None: the claim is not ours any more. Only where it `is_heard`.

        Raises
        ------
        Unanswered
            If nobody answered.
        """
        call, self._call = self._call, None
        if call is None:
            raise ValueError("no heartbeat is on its way")
        try:
            beat = call.result()
        except Exception as error:
            self._is_answered = False
            self._untold_order = self._untold_order or self._order
            raise Unanswered from error
        self._is_answered = True
        self._lease_ends_s = self._called_s + self._lease_s
        return beat

    @property
    def due_s(self) -> float:
        """When the next one is due; never while one is on its way."""
        if self._call is not None:
            return NEVER
        has_news = self._untold_progress is not None or self._untold_order is not None
        every_s = PROGRESS_EVERY_S if has_news else BEAT_EVERY_S
        if not self._is_answered:
            every_s = AGAIN_AFTER_S
        return self._called_s + min(every_s, self._lease_s / BEATS_A_LEASE)

    @property
    def lost_s(self) -> float:
        """When the lease has run out for certain, as nobody answers. A heartbeat that was late itself, since
        this process was held up, is waited for: perhaps nobody has missed it.
        """
        if self._call is not None:
            return max(self._lease_ends_s, self._called_s + LATE_S)
        return NEVER if self._is_answered else self._lease_ends_s

    def send_if_due(self, now_s: float) -> None:
        """Send the next one, with all that is to be told."""
        if now_s < self.due_s:
            return
        progress, order = self._progress(), self._untold_order
        self._untold_progress = self._untold_order = None
        self._called_s = now_s
        self._call = self._desk.do(lambda: self._book.beat(self._claim, progress, order))

    def _progress(self) -> RequestProgress | None:
        if self._untold_progress is None:
            return None
        self._told += 1
        told = self._untold_progress.model_dump()
        return RequestProgress(**told, number=self._told, at=datetime.now(UTC))
