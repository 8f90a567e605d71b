"""Events and progress of planning requests for tests."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from app.contracts.planning_requests import EventKind, RequestEvent, RequestProgress

AT = datetime(2027, 3, 1, 6, tzinfo=UTC)


def event(number: int, kind: EventKind) -> RequestEvent:
    """An event, so many seconds after six."""
    return RequestEvent(number=number, at=AT + timedelta(seconds=number), kind=kind)


def progress(number: int) -> RequestProgress:
    """A progress of a search that gets cheaper by a euro each time."""
    return RequestProgress(
        number=number,
        best_eur=1000.0 - number,
        left_out=0,
        work=1000 * number,
        elapsed_s=0.25 * number,
        gap=None,
        percent=min(100.0, float(number)),
        at=AT,
    )
