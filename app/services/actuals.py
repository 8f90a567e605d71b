"""What really happened on the lines: taken, and told to those who want to hear of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from app.contracts.actuals import PostedActual
from app.contracts.stored import BulkOutcome, Done, Stored
from app.contracts.webhooks import EventType
from app.services import records as things
from app.services.records import Condition
from app.services.workshop import Workshop
from app.store import actuals
from app.store.announcing import announce, wants
from app.store.kinds import ACTUALS
from app.store.store import Work

_TAKEN: Final = (Done.CREATED, Done.UPDATED)
_TOLD_OF: Final = (EventType.RUN_STARTED, EventType.RUN_FINISHED)


def take(shop: Workshop, work: Work, items: Sequence[PostedActual], *, each: bool) -> BulkOutcome:
    """Take runs as they were.

    Raises
    ------
    BadInput, OlderRevision
        As for anything posted.
    """
    before = _before(work, items)
    taken = things.take(shop, work, ACTUALS, items, each=each)
    if before is not None:
        changed = [
            item for item, outcome in zip(items, taken.outcomes, strict=True) if outcome.done in _TAKEN
        ]
        _announce(work, before, changed)
    return taken


def put(shop: Workshop, work: Work, item: PostedActual, only_if: Condition) -> Stored[PostedActual]:
    """Store a run in place of the version that its sender has read, or anew.

    Raises
    ------
    BadInput, OlderRevision
        As for anything posted.
    """
    before = _before(work, [item])
    stored = things.put(shop, work, ACTUALS, item, only_if)
    if before is not None:
        _announce(work, before, [item])
    return stored


def _before(work: Work, items: Sequence[PostedActual]) -> Mapping[str, PostedActual] | None:
    """What is stored of these runs, held so that nobody else tells of them too; None where nobody wants to
    hear what becomes of them.
    """
    if not wants(work, *_TOLD_OF):
        return None
    ids = [item.id for item in items]
    work.hold(ACTUALS.name, ids)
    return actuals.by_id(work, ids)


def _announce(work: Work, before: Mapping[str, PostedActual], changed: Sequence[PostedActual]) -> None:
    """Tell of runs that have begun or ended since; that a time was mended is nothing new."""
    begun = [item for item in changed if item.id not in before]
    ended = [item for item in changed if item.ended is not None and not _had_ended(before.get(item.id))]
    announce(work, EventType.RUN_STARTED, list(_started(begun)))
    announce(work, EventType.RUN_FINISHED, list(_finished(ended)))


def _had_ended(item: PostedActual | None) -> bool:
    return item is not None and item.ended is not None


def _started(items: Iterable[PostedActual]) -> Iterable[Mapping[str, object]]:
    return (
        {
            "run": item.id,
            "line": item.line,
            "job": item.job,
            "lot": item.lot and item.lot.model_dump(),
            "changeover_start": item.changeover_start,
            "started": item.started,
        }
        for item in items
    )


def _finished(items: Sequence[PostedActual]) -> Iterable[Mapping[str, object]]:
    return (
        {
            **begun,
            "ended": item.ended,
            "good_m": item.good_m,
            "waste_m": item.waste_m,
            "stops": item.stops,
            "versions": [made.model_dump() for made in item.versions],
        }
        for item, begun in zip(items, _started(items), strict=True)
    )
