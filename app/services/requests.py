"""Planning requests: made of what plant and jobs are now, and followed while they are worked on."""

from __future__ import annotations

import hashlib
import math
import uuid
import zlib
from collections.abc import Mapping

from app.contracts.planning_requests import NewPlanningRequest
from app.errors import NotStored
from app.services.following import StoryBook
from app.services.planning_snapshot import KeptOf, snapshot
from app.services.request_stories import Place, Story
from app.services.workshop import Workshop
from app.store import requests
from app.store.requests import NewRequest
from app.store.store import View

BESIDE_SEARCH_S = 120
"""What a request may take beside its search: a cold start, alternatives, rolls, reasons."""

LIMIT_OF_WORK_S = 3600
"""What one may take whose search ends by its work alone: nobody knows how long that is on a machine."""


def prepare(
    shop: Workshop, view: View, asked: NewPlanningRequest, kept_of: KeptOf, attempts: int
) -> NewRequest:
    """A request that can be queued, with all that it is worked out from. That takes a while.

    Parameters
    ----------
    kept_of
        Tells what of the released sequences is to be kept.
    attempts
        How often work on it may begin: a worker may be lost, and another; then people look at it.

    Raises
    ------
    BadInput
        With lines and jobs that there are not, locks that cannot be kept, whatever the solver refuses.
    NothingCanRun
        Where no job is left.
    """
    taken = snapshot(shop, view, asked, kept_of)
    content = taken.input.model_dump_json(by_alias=True).encode()
    return NewRequest(
        id=str(uuid.uuid4()),
        name=asked.name,
        asked=asked,
        input=zlib.compress(content),
        digest=hashlib.sha256(content).hexdigest(),
        state=taken.state,
        notes=taken.notes,
        limit_s=limit_s(asked),
        attempts=attempts,
    )


def limit_s(asked: NewPlanningRequest) -> int:
    """After how many seconds a request is ended with what there is."""
    if asked.limit_s is not None:
        return asked.limit_s
    return LIMIT_OF_WORK_S if asked.search_s is None else math.ceil(asked.search_s) + BESIDE_SEARCH_S


def stories(shop: Workshop) -> StoryBook:
    """Where requests are read by those who follow them: all of a plant in one transaction, and of those alone
    that have changed more than their counts.
    """

    def read(plant: str, known: Mapping[str, Place]) -> Mapping[str, Story | None]:
        found: dict[str, Story | None] = {}
        with shop.store.reading(plant) as view:
            counts = requests.counts(view, known)
            for request, place in known.items():
                if request not in counts:
                    found[request] = None
                elif Place(*counts[request]) != place:
                    found[request] = _news(view, request, place)
        return found

    return read


def _news(view: View, request: str, place: Place) -> Story | None:
    try:
        now = requests.read(view, request)
    except NotStored:
        return None
    events = requests.events_after(view, request, place.event)
    return Story(events, now.progress, now.status.is_over)
