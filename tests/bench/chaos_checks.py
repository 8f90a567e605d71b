"""What must hold of planning requests whatever was done to workers: each ends once, with one result."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Engine, select

from app.contracts.planning_requests import EventKind, RequestStatus
from app.store.tables import Base

REQUESTS, EVENTS, SEQUENCES, AUDIT = (
    Base.metadata.tables[name] for name in ("planning_requests", "request_events", "sequences", "audit")
)
ENDS = frozenset(EventKind(status.value) for status in RequestStatus if status.is_over)


class BrokenQueueError(RuntimeError):
    """A request is lost, doubled or orphaned."""


@dataclass(frozen=True)
class Ends:
    """What became of requests.

    Parameters
    ----------
    worked_s
        The shortest time from a start to the finish that followed it.
    """

    statuses: Counter[RequestStatus]
    attempts: int
    retried: int
    worked_s: float


def over(engine: Engine) -> int:
    """How many requests are over."""
    with engine.connect() as connection:
        statuses = connection.execute(select(REQUESTS.c.status)).scalars()
        return sum(status.is_over for status in statuses)


def ends(engine: Engine, asked: Sequence[str]) -> Ends:
    """What became of these requests, which are all there are and over.

    Raises
    ------
    BrokenQueueError
        If one is not there or twice, has not ended or more than once, has no result or sequences that are
        not there; or if a sequence is there that is of no result.
    """
    with engine.connect() as connection:
        requests = connection.execute(select(REQUESTS)).mappings().all()
        events = (
            connection.execute(select(EVENTS).order_by(EVENTS.c.request_pk, EVENTS.c.number)).mappings().all()
        )
        kept = connection.execute(select(SEQUENCES.c.id)).scalars().all()
        made = connection.execute(select(AUDIT.c.key).where(AUDIT.c.resource == "sequences")).scalars().all()
    _require(
        sorted(row["id"] for row in requests) == sorted(asked), "requests are not those that were asked for"
    )
    of_request: dict[int, list[Any]] = {row["pk"]: [] for row in requests}
    for event in events:
        of_request[event["request_pk"]].append(event)
    results: list[str] = []
    for row in requests:
        _require_one_end(row, of_request[row["pk"]])
        results += _sequences(row)
    _require(Counter(results) == Counter(kept), "sequences are not those of the results, each once")
    _require(Counter(made) == Counter(kept), "the audit does not tell of each sequence once")
    finished = (of_request[row["pk"]] for row in requests if row["status"] is RequestStatus.FINISHED)
    return Ends(
        statuses=Counter(row["status"] for row in requests),
        attempts=sum(row["attempt"] for row in requests),
        retried=sum(event["kind"] is EventKind.RETRIED for event in events),
        worked_s=min((_worked_s(told) for told in finished), default=0.0),
    )


def _require_one_end(row: Any, events: Sequence[Any]) -> None:
    name = f"request {row['id']}"
    kinds = [event["kind"] for event in events]
    _require(row["status"].is_over, f"{name} is {row['status']}")
    _require(row["lease_until"] is None, f"{name} is over and has a lease")
    _require(
        [event["number"] for event in events] == list(range(1, len(events) + 1)), f"{name} misses events"
    )
    _require(row["event_number"] == len(events), f"{name} counts events that are not there")
    ended = [kind for kind in kinds if kind in ENDS]
    _require(ended == [EventKind(row["status"].value)], f"{name} ended {', '.join(ended) or 'never'}")
    _require(kinds[-1] in ENDS, f"{name} went on behind its end: {', '.join(kinds)}")
    _require(kinds.count(EventKind.STARTED) == row["attempt"], f"{name} began otherwise than it counts")
    has_result = row["result"] is not None
    _require(
        has_result == (row["status"] is RequestStatus.FINISHED),
        f"{name}, {row['status']}: {json.dumps(has_result)}",
    )


def _sequences(row: Any) -> list[str]:
    result = row["result"]
    return [] if result is None else [result.sequence, *(other.sequence for other in result.alternatives)]


def _worked_s(events: Sequence[Any]) -> float:
    began = max(event["at"] for event in events if event["kind"] is EventKind.STARTED)
    return float((events[-1]["at"] - began).total_seconds())


def _require(holds: bool, otherwise: str) -> None:
    if not holds:
        raise BrokenQueueError(otherwise)
