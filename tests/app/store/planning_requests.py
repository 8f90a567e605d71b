"""Planning requests for the store's tests, and what comes of them."""

from __future__ import annotations

import hashlib
import zlib
from datetime import datetime
from functools import cache

from app.contracts.base import at_site
from app.contracts.planning_requests import (
    NewPlanningRequest,
    PlanningInput,
    Priority,
    RequestProblem,
    RequestProgress,
    RequestStatus,
)
from app.contracts.sequences import CostedPlan, Goal, SequenceAlternative
from app.intake.queue import read_queue
from app.store import claims, requests
from app.store.claims import Claim, Ended, Found
from app.store.requests import NewRequest
from app.store.store import Actor, Store, Work
from tests.app.costed_plans import IN_ORDER, costed_order
from tests.app.queues import SAMPLE
from tests.app.store.things import ANN, NOON

LEASE_S = 60.0
RUN_OUT = -1.0
"""A lease that has run out already."""

SUPERVISOR = Actor("worker w-1")


@cache
def planning_input() -> PlanningInput:
    """The small sample, to be planned."""
    queue = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
    return PlanningInput(
        plant=queue.plant,
        jobs=queue.jobs,
        start=at_site(datetime(2027, 3, 1, 6), queue.plant.site.zone_info),
        locks=(),
        goal=Goal.BALANCED,
        seconds=1.0,
        work=None,
        seed=0,
        alternatives=3,
        reasons=True,
    )


@cache
def _input() -> tuple[bytes, str]:
    """The same compressed, and its digest."""
    text = planning_input().model_dump_json(by_alias=True).encode()
    return zlib.compress(text), hashlib.sha256(text).hexdigest()


def request(
    id: str, priority: Priority = Priority.USUAL, attempts: int = 3, name: str = "Monday"
) -> NewRequest:
    """A request to plan the small sample."""
    compressed, digest = _input()
    return NewRequest(
        id=id,
        name=name,
        asked=NewPlanningRequest(name=name, priority=priority, seconds=1.0),
        input=compressed,
        digest=digest,
        state="as it was",
        notes=("J-9 is left aside",),
        limit_s=121.5,
        attempts=attempts,
    )


def enqueue(store: Store, *ids: str, attempts: int = 3) -> None:
    with store.writing(ANN) as work:
        for id in ids:
            requests.enqueue(work, request(id, attempts=attempts))


def claimed(store: Store, worker: str = "w-1", lease_s: float = LEASE_S) -> Claim:
    """The next request, which must be there."""
    with store.writing(SUPERVISOR) as work:
        found = claims.claim(work, worker, lease_s)
    assert found is not None
    return found


def as_worker(claim: Claim) -> Actor:
    return Actor(f"worker {claim.worker}", plant=claim.plant)


def progress(best_eur: float = 12.5) -> RequestProgress:
    return RequestProgress(
        number=1, best_eur=best_eur, left_out=0, work=100, elapsed_s=0.5, percent=25, at=NOON
    )


@cache
def best_and_others() -> tuple[CostedPlan, ...]:
    """A plan with two alternatives, and each of those alone."""
    others = [costed_order(IN_ORDER[:count]) for count in (3, 2)]
    alternatives = tuple(
        SequenceAlternative(name=f"alternative {number}", trade=f"trade {number}", sequence=other.sequence)
        for number, other in enumerate(others, 1)
    )
    alone = (other.model_copy(update={"baselines": ()}) for other in others)
    return (costed_order().model_copy(update={"alternatives": alternatives}), *alone)


@cache
def found(*, is_whole: bool = True) -> Found:
    best, *others = (plan.model_dump_json(by_alias=True).encode() for plan in best_and_others())
    return Found(plan=best, alternatives=tuple(others), reasons=None, is_whole=is_whole)


FAILED = Ended(
    RequestStatus.FAILED,
    problem=RequestProblem(type="/problems/fields", title="Fields are wrong", detail="J-1 has no die"),
)


def finish(work: Work, claim: Claim) -> bool:
    return claims.finish(work, claim, Ended(RequestStatus.FINISHED, found()))
