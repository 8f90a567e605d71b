"""Whether a deed hit what it was meant to hit, as the database tells it: nothing else is counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import Engine, select

from app.contracts.planning_requests import EventKind, RequestStatus
from app.store.claims import LOST
from tests.bench.chaos_checks import EVENTS, REQUESTS
from tests.bench.chaos_deeds import Deed, Deeds

Row = Mapping[Any, Any]
LOOKED_AT = ("id", "status", "attempt", "progress", "started_at", "lease_until")

SETTLED_S = 0.5
"""So long after a kill a heartbeat that was under way is written, if it ever is."""

ONE_MOMENT = timedelta(seconds=0.02)
"""The two times that a claim writes are at most so far apart; a heartbeat comes later than that."""

CHILD_GONE = ("the child was ended by SIGKILL", "the child was lost")
"""How a worker tells of a child that was killed: the second where its status was not heard in time."""


@dataclass
class Hit:
    """Something that was done to an attempt.

    Parameters
    ----------
    attempt
        Of the request: 1 for its first.
    at_s
        When, on the clock that looks are timed by.
    was_unrenewed
        Whether the lease was seen as its claim had made it, at a time when nothing could be under way any
        more.
    """

    deed: Deed
    request: str
    attempt: int
    at_s: float
    was_unrenewed: bool = False


class Proofs:
    """Hits that are not proved yet. A proof is what the database tells of the attempt:

    - it did not end its request: the next event is that it was tried again, as the worker or the child was
      lost. So a result that was being written was not committed, a search had not told its plan;
    - between claim and first heartbeat: before that, but after the kill, there was no progress of it, and its
      lease was that of the claim.

    Parameters
    ----------
    lease_s
        How long a claim lasts.
    """

    def __init__(self, deeds: Deeds, lease_s: float) -> None:
        self._deeds = deeds
        self._lease = timedelta(seconds=lease_s)
        self._open: list[Hit] = []

    @property
    def are_open(self) -> bool:
        """Whether anything is still to be proved."""
        return bool(self._open)

    def add(self, hit: Hit) -> None:
        """Look after something that was done."""
        self._open.append(hit)

    def look(self, engine: Engine, now_s: float) -> None:
        """See what the database tells by now."""
        if not self._open:
            return
        with engine.connect() as connection:
            ids = {hit.request for hit in self._open}
            # Events first: a row that has changed since tells nothing, an event would tell too much.
            told = select(REQUESTS.c.id, EVENTS.c.kind, EVENTS.c.told).join(
                REQUESTS, REQUESTS.c.pk == EVENTS.c.request_pk
            )
            ordered = told.where(REQUESTS.c.id.in_(ids)).order_by(EVENTS.c.request_pk, EVENTS.c.number)
            events = connection.execute(ordered).mappings().all()
            chosen = select(*(REQUESTS.c[name] for name in LOOKED_AT)).where(REQUESTS.c.id.in_(ids))
            rows = {row["id"]: row for row in connection.execute(chosen).mappings()}
        self._open = [
            hit
            for hit in self._open
            if not self._settled(
                hit, rows[hit.request], [each for each in events if each["id"] == hit.request], now_s
            )
        ]

    def _settled(self, hit: Hit, row: Row, events: Sequence[Row], now_s: float) -> bool:
        is_proved = self.verdict(hit, row, events, now_s)
        if is_proved is None:
            return False
        (self._deeds.hit if is_proved else self._deeds.missed)(hit.deed)
        return True

    def verdict(self, hit: Hit, row: Row, events: Sequence[Row], now_s: float) -> bool | None:
        """Whether it hit; None: it cannot be told yet.

        Parameters
        ----------
        row
            The request, read after its events.
        events
            All of the request, in their order.
        """
        ended = _behind(events, hit.attempt)
        if ended is not None:
            is_lost = ended["kind"] is EventKind.RETRIED and ended["told"].startswith(_expected(hit.deed))
            return is_lost and (hit.deed is not Deed.EARLY or hit.was_unrenewed)
        is_its = row["status"] is RequestStatus.RUNNING and row["attempt"] == hit.attempt
        if hit.deed is Deed.EARLY and is_its:
            if self._is_renewed(row):
                return False
            hit.was_unrenewed = hit.was_unrenewed or now_s >= hit.at_s + SETTLED_S
        return None

    def _is_renewed(self, row: Row) -> bool:
        lasts = row["lease_until"] - row["started_at"]
        return row["progress"] is not None or abs(lasts - self._lease) > ONE_MOMENT


def _behind(events: Sequence[Row], attempt: int) -> Row | None:
    """The event that ended an attempt, if anything has."""
    starts = [idx for idx, event in enumerate(events) if event["kind"] is EventKind.STARTED]
    if len(starts) < attempt:
        return None
    return next(iter(events[starts[attempt - 1] + 1 :]), None)


def _expected(deed: Deed) -> tuple[str, ...]:
    return CHILD_GONE if deed is Deed.CHILD else (LOST,)
