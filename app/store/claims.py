"""Planning requests as workers take them, each at most one worker's at a time.

A claim lasts as long as its lease, which every heartbeat renews. Whatever a worker writes of a request is
written only where worker and attempt are still those of the claim and it still runs: whoever was taken for
lost writes nothing. Status, result and event are of one transaction.
"""

from __future__ import annotations

import uuid
import zlib
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, literal_column, select, update

from app.contracts.planning_requests import (
    EventKind,
    FoundAlternative,
    PlanningInput,
    RequestProblem,
    RequestProgress,
    RequestResult,
    RequestStatus,
)
from app.contracts.sequences import CostedPlan
from app.contracts.stored_sequences import SequenceInput
from app.store import request_events, sequences
from app.store.database_clock import later, now
from app.store.requests import INPUTS, REQUESTS
from app.store.rows import first
from app.store.sequences import PreparedSequence
from app.store.store import Work
from app.store.tables import Base
from app.store.wakeup import notify, request_topic

LOST = "the worker was lost"
DEAD_TYPE: Final = "/problems/given-up"
MOST_REAPED = 100
"""Requests that one look takes back at most; the next is a second later."""

_C = REQUESTS.c
_PLANTS = Base.metadata.tables["plants"]
_IS_RUNNING: ColumnElement[bool] = _C.status == literal_column("'running'")
"""Said in letters, as the partial indexes say it: of a parameter nobody knows that it is in them."""


@dataclass(frozen=True, slots=True)
class Claim:
    """A request that a worker has to itself.

    Parameters
    ----------
    plant
        Name of its plant.
    attempt
        How often work on it has begun: with the worker the mark by which what is written is known as ours.
    input
        All that it is worked out from: a `PlanningInput` as compressed JSON.
    limit_s
        After so many seconds it is to be ended.
    state
        What plant and jobs were when it was made, in a word.
    waited_s
        For how many seconds it has been there.
    """

    pk: int
    plant: str
    id: str
    attempt: int
    input: bytes
    limit_s: float
    cancel_requested: bool
    worker: str
    state: str
    name: str = "plan"
    waited_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Beat:
    """What a heartbeat hears."""

    cancel_requested: bool


@dataclass(frozen=True, slots=True)
class Found:
    """What a search has found.

    Parameters
    ----------
    plan
        The best, its alternatives in it: a `CostedPlan` as JSON.
    alternatives
        Each of those alone, in their order: a `CostedPlan` as JSON.
    reasons
        `Reasons` as JSON; None where nobody asked for them.
    is_whole
        Whether the search came to its own end.
    """

    plan: bytes
    alternatives: tuple[bytes, ...]
    reasons: bytes | None
    is_whole: bool


@dataclass(frozen=True, slots=True)
class Ended:
    """How work on a request ended: finished or cancelled with what was found, if anything was, or failed with
    a problem.
    """

    status: RequestStatus
    found: Found | None = None
    problem: RequestProblem | None = None

    def __post_init__(self) -> None:
        if not self.status.is_over or self.status is RequestStatus.DEAD:
            raise ValueError(f"work on a request does not end {self.status}")
        if (self.status is RequestStatus.FAILED) != (self.problem is not None):
            raise ValueError("a problem is told of a request that failed, and of no other")
        if self.problem is not None and self.found is not None:
            raise ValueError("of a request that failed nothing was found")


@dataclass(frozen=True, slots=True)
class PreparedEnd:
    """The end of a request as it will be written, worked out before a transaction begins that others wait
    for.
    """

    status: RequestStatus
    told: str
    values: dict[str, Any]
    sequences: tuple[PreparedSequence, ...]


def claim(work: Work, worker: str, lease_s: float) -> Claim | None:
    """Take the request that is to be worked on next, of whatever plant: of the highest priority the oldest.

    Parameters
    ----------
    worker
        A name that no other worker has or had.
    lease_s
        For so many seconds nobody else takes it.
    """
    waiting = REQUESTS.alias("waiting")
    is_queued = waiting.c.status == literal_column("'queued'")
    in_order = select(waiting.c.pk).where(is_queued).order_by(waiting.c.priority.desc(), waiting.c.pk)
    taken = update(REQUESTS).where(
        _C.pk == in_order.limit(1).with_for_update(skip_locked=True).scalar_subquery()
    )
    change = {
        "status": RequestStatus.RUNNING,
        "attempt": _C.attempt + 1,
        "attempts_left": _C.attempts_left - 1,
        "worker": worker,
        "lease_until": later(work, lease_s),
        "started_at": now(work),
        "progress": None,
        "event_number": _C.event_number + 1,
    }
    row = work.connection.execute(taken.values(change).returning(*_CLAIMED)).first()
    if row is None:
        return None
    started = f"by {worker}, attempt {row.attempt}"
    request_events.happened(work, row.pk, row.id, row.event_number, EventKind.STARTED, started)
    return Claim(
        pk=row.pk,
        plant=row.plant,
        id=row.id,
        attempt=row.attempt,
        input=row.input,
        limit_s=row.limit_s,
        cancel_requested=row.cancel_requested_at is not None,
        worker=worker,
        state=row.state,
        name=row.name,
        waited_s=(row.started_at - row.created_at).total_seconds(),
    )


def _of_plant() -> ColumnElement[Any]:
    chosen = select(_PLANTS.c.name).where(_PLANTS.c.pk == _C.plant_pk).correlate(REQUESTS)
    return chosen.scalar_subquery().label("plant")


def _of_input(name: str) -> ColumnElement[Any]:
    chosen = select(INPUTS.c[name]).where(INPUTS.c.request_pk == _C.pk).correlate(REQUESTS)
    return chosen.scalar_subquery().label(name)


_CLAIMED = (
    _C.pk,
    _C.id,
    _C.name,
    _C.attempt,
    _C.limit_s,
    _C.cancel_requested_at,
    _C.event_number,
    _C.created_at,
    _C.started_at,
    _of_plant(),
    _of_input("input"),
    _of_input("state"),
)


def beat(
    work: Work, claim: Claim, lease_s: float, progress: RequestProgress | None, incumbent: bytes | None
) -> Beat | None:
    """Say that work goes on, and how far it is; None: the request is not ours any more.

    Parameters
    ----------
    lease_s
        For so many seconds from now nobody else takes it.
    progress
        Its number is counted here, on from attempt to attempt.
    incumbent
        The best order so far, a `RunOrder` as JSON; None: still the one before.
    """
    change: dict[str, Any] = {"lease_until": later(work, lease_s)}
    if progress is not None:
        change |= {"progress": progress, "progress_number": _C.progress_number + 1}
    if incumbent is not None:
        change["incumbent"] = zlib.compress(incumbent)
    statement = update(REQUESTS).where(*_fence(claim)).values(change).returning(_C.cancel_requested_at)
    row = work.connection.execute(statement).first()
    if row is None:
        return None
    if progress is not None:
        notify(work, request_topic(claim.id))
    return Beat(cancel_requested=row.cancel_requested_at is not None)


def prepared(claim: Claim, ended: Ended) -> PreparedEnd:
    """The end of a claim as `finish` writes it. That takes a while: read, checked, compressed."""
    values: dict[str, Any] = {"status": ended.status, "problem": ended.problem}
    told = "" if ended.problem is None else ended.problem.title
    if ended.found is None:
        return PreparedEnd(ended.status, told, values, ())
    result, kept = _kept(claim, ended.found)
    reasons = None if ended.found.reasons is None else zlib.compress(ended.found.reasons)
    values |= {"result": result, "reasons": reasons, "incumbent": None}
    return PreparedEnd(ended.status, told, values, kept)


def _kept(claim: Claim, found: Found) -> tuple[RequestResult, tuple[PreparedSequence, ...]]:
    """The result of a request, and the sequences that it is made of, the best first."""
    worked_from = PlanningInput.model_validate_json(zlib.decompress(claim.input))
    source = SequenceInput(**{name: getattr(worked_from, name) for name in SequenceInput.model_fields})
    compressed = zlib.compress(source.model_dump_json(by_alias=True).encode())

    def kept(text: bytes, name: str, plan: CostedPlan) -> PreparedSequence:
        return sequences.prepare(str(uuid.uuid4()), name, plan, text, compressed, claim.state)

    plan = CostedPlan.model_validate_json(found.plan)
    best = kept(found.plan, claim.name, plan)
    others = tuple(
        kept(text, f"{claim.name}, {told.name}", CostedPlan.model_validate_json(text))
        for told, text in zip(plan.alternatives, found.alternatives, strict=True)
    )
    result = RequestResult(
        sequence=best.head.id,
        alternatives=tuple(
            FoundAlternative(sequence=other.head.id, name=told.name, trade=told.trade)
            for told, other in zip(plan.alternatives, others, strict=True)
        ),
        search=plan.search,
        is_whole=found.is_whole,
        has_reasons=found.reasons is not None,
    )
    return result, (best, *others)


def finish(work: Work, claim: Claim, ended: Ended | PreparedEnd) -> bool:
    """End a request: sequences, result, status and event together. False: it is not ours any more, and
    nothing was written.

    Parameters
    ----------
    ended
        `prepared` before the transaction began, where others would wait for it.
    """
    end = prepared(claim, ended) if isinstance(ended, Ended) else ended
    of_plant = _C.plant_pk == work.plant
    change = {**end.values, "ended_at": now(work)}
    if not _written(work, claim, change, EventKind(end.status.value), end.told, of_plant):
        return False
    for sequence in end.sequences:
        sequences.keep_prepared(work, sequence)
    return True


def hand_back(work: Work, claim: Claim) -> bool:
    """Put a request back into the queue as if work had not begun; one that was cancelled meanwhile ends.
    False: it is not ours any more.
    """
    row = _held(work, claim)
    if row is None:
        return False
    told = f"handed back by {claim.worker}"
    if row.cancel_requested_at is not None:
        return _written(work, row, _cancelled(work), EventKind.CANCELLED, told)
    given_back = {"status": RequestStatus.QUEUED, "attempts_left": _C.attempts_left + 1}
    return _written(work, row, given_back, EventKind.QUEUED, told)


def crashed(work: Work, claim: Claim, why: str) -> bool:
    """Put a request back into the queue, or give it up after its last attempt; one that was cancelled
    meanwhile ends. False: it is not ours any more.
    """
    row = _held(work, claim)
    return row is not None and _lost(work, row, why)


def reap(work: Work) -> int:
    """Take requests of all plants back whose leases have run out, as crashed; how many they were."""
    expired = _expired(work)
    for row in expired:
        _lost(work, row, f"{LOST}: {row.worker}")
    return len(expired)


def _lost(work: Work, row: _Running, why: str) -> bool:
    if row.cancel_requested_at is not None:
        return _written(work, row, _cancelled(work), EventKind.CANCELLED, why)
    if row.attempts_left > 0:
        return _written(work, row, {"status": RequestStatus.QUEUED}, EventKind.RETRIED, why)
    problem = RequestProblem(
        type=DEAD_TYPE,
        title="Given up after its last attempt",
        detail=f"At attempt {row.attempt}: {why}. Look why, and send it again.",
    )
    change = {"status": RequestStatus.DEAD, "ended_at": now(work), "problem": problem}
    return _written(work, row, change, EventKind.DEAD, why)


def _cancelled(work: Work) -> dict[str, Any]:
    return {"status": RequestStatus.CANCELLED, "ended_at": now(work)}


def _fence(claim: Claim | _Running) -> tuple[ColumnElement[bool], ...]:
    """Whether a request is still that of a claim."""
    return _C.pk == claim.pk, _C.worker == claim.worker, _C.attempt == claim.attempt, _IS_RUNNING


@dataclass(frozen=True, slots=True)
class _Running:
    """A request that runs, held so that nobody else changes it until the transaction ends."""

    pk: int
    id: str
    worker: str
    attempt: int
    attempts_left: int
    cancel_requested_at: datetime | None


_HELD = select(*(_C[field.name] for field in fields(_Running)))


def _held(work: Work, claim: Claim) -> _Running | None:
    """The row of a claim, if it is still that."""
    return first(_running(work, _HELD.where(*_fence(claim)).with_for_update()))


def _expired(work: Work) -> list[_Running]:
    """Those whose leases have run out. Rows that somebody is writing just now are left for the next time."""
    chosen = _HELD.where(_IS_RUNNING, _C.lease_until < now(work)).order_by(_C.pk).limit(MOST_REAPED)
    return _running(work, chosen.with_for_update(skip_locked=True))


def _running(work: Work, chosen: Select[Any]) -> list[_Running]:
    return [_Running(*row) for row in work.connection.execute(chosen)]


def _written(
    work: Work,
    claim: Claim | _Running,
    change: dict[str, Any],
    kind: EventKind,
    told: str,
    *conditions: ColumnElement[bool],
) -> bool:
    """Write that a request runs no more, and what became of it; False where it is not the claim's."""
    counted = {**change, "lease_until": None, "event_number": _C.event_number + 1}
    statement = update(REQUESTS).where(*_fence(claim), *conditions).values(counted)
    number = work.connection.execute(statement.returning(_C.event_number)).scalar()
    if number is None:
        return False
    request_events.happened(work, claim.pk, claim.id, number, kind, told)
    return True
