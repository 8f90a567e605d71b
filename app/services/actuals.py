"""What really happened on the lines: taken, and told to those who want to hear of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final

from app.contracts.actuals import PostedActual
from app.contracts.messages import RunFinished, RunStarted
from app.contracts.stored import BulkOutcome, Done, Stored
from app.contracts.webhooks import EventType
from app.services import delays
from app.services import records as things
from app.services.records import Condition
from app.services.workshop import Workshop
from app.store import actuals
from app.store.announcing import announce, wants
from app.store.kinds import ACTUALS
from app.store.store import Work

_TAKEN: Final = (Done.CREATED, Done.UPDATED)


def take(shop: Workshop, work: Work, items: Sequence[PostedActual], *, each: bool) -> BulkOutcome:
    """Take runs as they were.

    Raises
    ------
    BadInput, OlderRevision
        As for anything posted.
    """
    with _told(work, items) as tell:
        taken = things.take(shop, work, ACTUALS, items, each=each)
        tell([item for item, outcome in zip(items, taken.outcomes, strict=True) if outcome.done in _TAKEN])
    return taken


def put(shop: Workshop, work: Work, item: PostedActual, only_if: Condition) -> Stored[PostedActual]:
    """Store a run in place of the version that its sender has read, or anew.

    Raises
    ------
    BadInput, OlderRevision
        As for anything posted.
    """
    with _told(work, [item]) as tell:
        stored = things.put(shop, work, ACTUALS, item, only_if)
        tell([item])
    return stored


@contextmanager
def _told(work: Work, items: Sequence[PostedActual]) -> Iterator[Callable[[Sequence[PostedActual]], None]]:
    """Tell webhooks what becomes of runs that are about to be stored, once it is known which of them are.

    What was there before is read first, where anybody wants to hear of it; the runs are held, so that nobody
    else tells of them too.
    """
    told_of = wants(work, EventType.RUN_STARTED, EventType.RUN_FINISHED, EventType.JOB_AT_RISK)
    before: Mapping[str, PostedActual] = {}
    if told_of:
        ids = [item.id for item in items]
        work.hold(ACTUALS.name, ids)
        before = actuals.by_id(work, ids)
    lines = {item.line for item in (*items, *before.values())}
    at_risk = wants(work, EventType.JOB_AT_RISK)
    late = delays.expected_late(work, lines) if at_risk else {}
    stored: list[PostedActual] = []
    yield stored.extend
    if told_of:
        _announce_runs(work, before, stored)
    if at_risk:
        now = delays.expected_late(work, lines)
        announce(
            work, EventType.JOB_AT_RISK, [told.model_dump() for key, told in now.items() if key not in late]
        )


def _announce_runs(work: Work, before: Mapping[str, PostedActual], stored: Sequence[PostedActual]) -> None:
    """Tell of runs that have begun or ended since; that a time was mended is nothing new."""
    begun = [item for item in stored if item.id not in before]
    announce(work, EventType.RUN_STARTED, [RunStarted(**_begin(item)).model_dump() for item in begun])
    ended = [item for item in stored if item.ended is not None and not _had_ended(before.get(item.id))]
    told = ("ended", "good_m", "waste_m", "stops", "versions")
    finished = [
        RunFinished(**_begin(item), **{name: getattr(item, name) for name in told}).model_dump()
        for item in ended
    ]
    announce(work, EventType.RUN_FINISHED, finished)


def _had_ended(item: PostedActual | None) -> bool:
    return item is not None and item.ended is not None


def _begin(item: PostedActual) -> dict[str, Any]:
    told = ("line", "job", "lot", "changeover_start", "started")
    return {"run": item.id, **{name: getattr(item, name) for name in told}}
