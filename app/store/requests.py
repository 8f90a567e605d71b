"""Planning requests as people ask for them: asked, read, listed, cancelled, sent again, removed."""

from __future__ import annotations

import zlib
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import RowMapping, delete, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from app.contracts.orders import RunOrder
from app.contracts.planning_requests import (
    EventKind,
    NewPlanningRequest,
    PlanningInput,
    PlanningRequest,
    RequestEvent,
    RequestStatus,
)
from app.contracts.reasons import Reasons
from app.contracts.stored import Page
from app.errors import BadInput, Conflict, Fault, NotStored
from app.store import audit, request_events
from app.store.audit import Action, Change
from app.store.database_clock import now
from app.store.engine import is_sqlite
from app.store.kind import Filter
from app.store.listing import Query, Stretch, page_of
from app.store.rows import among, as_it_was
from app.store.store import View, Work
from app.store.tables import Base
from app.store.wakeup import notify, request_topic

NAME: Final = "planning-requests"
"""As addresses and the audit call them."""

REQUESTS = Base.metadata.tables["planning_requests"]
INPUTS = Base.metadata.tables["request_inputs"]
_C, _I = REQUESTS.c, INPUTS.c

FILTERS: Final = {
    "status": Filter("status"),
    "priority": Filter("priority", lambda column, priority: column == priority.rank),
    "name": Filter("name"),
}

_SHOWN = select(
    *(_C[name] for name in PlanningRequest.model_fields if name in _C),
    _I.asked,
    _I.digest,
    _I.notes,
    _C.progress_number,
    _C.pk,
).join(INPUTS, _I.request_pk == _C.pk)


@dataclass(frozen=True, slots=True)
class NewRequest:
    """A request that is to be queued.

    Parameters
    ----------
    input
        All that it is worked out from: a `PlanningInput` as compressed JSON.
    digest
        SHA-256 of that JSON.
    state
        What plant and jobs are, in a word: another one means that something of them has changed.
    notes
        What was left aside, for people.
    limit_s
        After so many seconds it is ended, whatever it is at.
    attempts
        How often work on it may begin, at least once.
    """

    id: str
    name: str
    asked: NewPlanningRequest
    input: bytes
    digest: str
    state: str
    notes: tuple[str, ...]
    limit_s: float
    attempts: int

    def __post_init__(self) -> None:
        if self.attempts < 1:
            raise ValueError(f"work on a request begins at least once, not {self.attempts} times")


def enqueue(work: Work, new: NewRequest) -> PlanningRequest:
    """Queue a request. The same once more changes nothing.

    Raises
    ------
    Conflict
        If another is there under its id.
    """
    pk = _insert(work, new)
    made = read(work, new.id)
    if pk is None:
        if (made.digest, made.asked) != (new.digest, new.asked):
            raise Conflict(f"Planning request “{new.id}” is there already and asks for something else.")
        return made
    request_events.happened(work, pk, new.id, 1, EventKind.QUEUED)
    _audit(work, Action.CREATED, new.id, None, _json(made, asked=True))
    return made


def _insert(work: Work, new: NewRequest) -> int | None:
    """The number of a new row; None where the id is taken."""
    values = {
        "plant_pk": work.plant,
        "id": new.id,
        "name": new.name,
        "status": RequestStatus.QUEUED,
        "priority": new.asked.priority.rank,
        "attempt": 0,
        "attempts": new.attempts,
        "attempts_left": new.attempts,
        "limit_s": new.limit_s,
        "created_at": now(work),
        "created_by": work.actor.name,
        "event_number": 1,
        "progress_number": 0,
    }
    insertion = (sqlite if is_sqlite(work.connection) else postgresql).insert(REQUESTS).values(values)
    unique = insertion.on_conflict_do_nothing(index_elements=["plant_pk", "id"])
    pk: int | None = work.connection.execute(unique.returning(_C.pk)).scalar()
    if pk is not None:
        row = {
            "request_pk": pk,
            "asked": new.asked,
            "notes": new.notes,
            "input": new.input,
            "digest": new.digest,
            "state": new.state,
        }
        work.connection.execute(insert(INPUTS).values(row))
    return pk


def read(view: View, id: str) -> PlanningRequest:
    """A request.

    Raises
    ------
    NotStored
        If there is none.
    """
    return _request(_row(view, id))


def listed(view: View, query: Query) -> Page[PlanningRequest]:
    """Requests of the plant, the newest first.

    Raises
    ------
    BadInput
        If there is no such filter, or the cursor is none of this list.
    """
    unknown = [name for name in query.filters if name not in FILTERS]
    if unknown:
        raise BadInput([Fault(f"should be one of: {', '.join(FILTERS)}", field=name) for name in unknown])
    conditions = tuple(FILTERS[name].on(REQUESTS, value) for name, value in query.filters.items())
    newest_first = Stretch(conditions, (_C.pk,), backwards=True)
    rows, following = page_of(view.connection, _SHOWN, REQUESTS, view.plant, [newest_first], query)
    return Page[PlanningRequest](items=tuple(map(_request, rows)), next_cursor=following)


def events_after(view: View, id: str, number: int) -> tuple[RequestEvent, ...]:
    """What happened to a request behind one of its events, in order; 0: all of it.

    Raises
    ------
    NotStored
        If there is no such request.
    """
    return request_events.after(view, _number(view, id), number)


def counts(view: View, ids: Collection[str]) -> dict[str, tuple[int, int]]:
    """How many events each of these requests has and how often its progress was told, of those there are."""
    here = _C.plant_pk == view.plant, among(view.connection, _C.id, list(ids))
    rows = view.connection.execute(select(_C.id, _C.event_number, _C.progress_number).where(*here))
    return {id: (events, told) for id, events, told in rows}


def reasons(view: View, id: str) -> Reasons | None:
    """Why the sequence that came of a request is as it is; None where nothing came of it, or nobody asked.

    Raises
    ------
    NotStored
        If there is no such request.
    """
    kept = _column(view, id, "reasons")
    return None if kept is None else Reasons.model_validate_json(zlib.decompress(kept))


def incumbent(view: View, id: str) -> RunOrder | None:
    """The best order so far of a request that is not over; of one that ended without a sequence the best that
    it had. None where there was none, or a sequence came of it.

    Raises
    ------
    NotStored
        If there is no such request.
    """
    kept = _column(view, id, "incumbent")
    return None if kept is None else RunOrder.model_validate_json(zlib.decompress(kept))


def planning_input(view: View, id: str) -> PlanningInput:
    """All that a request is worked out from.

    Raises
    ------
    NotStored
        If there is no such request.
    """
    chosen = select(_I.input).where(_I.request_pk == _number(view, id))
    return PlanningInput.model_validate_json(zlib.decompress(view.connection.execute(chosen).scalar_one()))


def cancel(work: Work, id: str) -> PlanningRequest:
    """End a request: at once where it waits; its worker is told where it runs.

    Raises
    ------
    NotStored
        If there is none.
    Conflict
        If it is over.
    """
    before = _held(work, id)
    if before.status.is_over:
        raise Conflict(f"Planning request “{id}” is {before.status} already: there is nothing to cancel.")
    if before.cancel_requested_at is not None:
        return before
    change: dict[str, Any] = {"cancel_requested_at": now(work)}
    kind = EventKind.CANCEL_REQUESTED
    if before.status is RequestStatus.QUEUED:
        change |= {"status": RequestStatus.CANCELLED, "ended_at": now(work)}
        kind = EventKind.CANCELLED
    return _changed(work, before, change, kind, Action.CANCELLED)


def resend(work: Work, id: str) -> PlanningRequest:
    """Queue a request anew that failed or is dead, as often as it was allowed at first.

    Raises
    ------
    NotStored
        If there is none.
    Conflict
        If it is neither.
    """
    before = _held(work, id)
    if before.status not in (RequestStatus.FAILED, RequestStatus.DEAD):
        raise Conflict(f"Planning request “{id}” is {before.status}: a failed or dead one can be sent again.")
    change = {
        "status": RequestStatus.QUEUED,
        "attempts_left": _C.attempts,
        "cancel_requested_at": None,
        "ended_at": None,
        "problem": None,
    }
    return _changed(work, before, change, EventKind.QUEUED, Action.UPDATED)


def remove(work: Work, id: str) -> None:
    """Remove a request that is over, with what happened to it. Its sequences stay.

    Raises
    ------
    NotStored
        If there is none.
    Conflict
        If it is not over.
    """
    before = _held(work, id)
    if not before.status.is_over:
        raise Conflict(f"Planning request “{id}” is {before.status}: cancel it and wait until it ends.")
    work.connection.execute(delete(REQUESTS).where(_C.plant_pk == work.plant, _C.id == id))
    notify(work, request_topic(id))
    _audit(work, Action.REMOVED, id, _json(before, asked=True), None)


def _held(work: Work, id: str) -> PlanningRequest:
    """A request that nobody else changes until the transaction ends."""
    here = _C.plant_pk == work.plant, _C.id == id
    work.connection.execute(select(_C.pk).where(*here).with_for_update())
    return read(work, id)


def _changed(
    work: Work, before: PlanningRequest, change: dict[str, Any], kind: EventKind, action: Action
) -> PlanningRequest:
    """Change a request that is held, and say so."""
    here = _C.plant_pk == work.plant, _C.id == before.id
    counted = {**change, "event_number": _C.event_number + 1}
    statement = update(REQUESTS).where(*here).values(counted).returning(_C.pk, _C.event_number)
    pk, number = work.connection.execute(statement).one()
    request_events.happened(work, pk, before.id, number, kind, f"by {work.actor.name}")
    after = read(work, before.id)
    _audit(work, action, before.id, _json(before), _json(after))
    return after


def _row(view: View, id: str) -> RowMapping:
    here = _C.plant_pk == view.plant, _C.id == id
    row = view.connection.execute(_SHOWN.where(*here)).mappings().first()
    if row is None:
        raise NotStored(NAME, id)
    return row


def _number(view: View, id: str) -> int:
    number: int = _column(view, id, "pk")
    return number


def _column(view: View, id: str, name: str) -> Any:
    here = _C.plant_pk == view.plant, _C.id == id
    row = view.connection.execute(select(_C[name]).where(*here)).first()
    if row is None:
        raise NotStored(NAME, id)
    return row[0]


def _request(row: RowMapping) -> PlanningRequest:
    """The request of a row. Its progress is counted by the row, on from attempt to attempt."""
    values = {name: row[name] for name in PlanningRequest.model_fields}
    if values["progress"] is not None:
        values["progress"] = values["progress"].model_copy(update={"number": row["progress_number"]})
    return as_it_was(PlanningRequest, values)


def _audit(work: Work, action: Action, id: str, before: str | None, after: str | None) -> None:
    audit.record(work, NAME, [Change(action, id, before, after)])


def _json(request: PlanningRequest, *, asked: bool = False) -> str:
    """A request as the audit shows it; what was asked for only where it is all that tells it."""
    left_out = {"progress", "notes"} if asked else {"progress", "notes", "asked"}
    return request.model_dump_json(by_alias=True, exclude_none=True, exclude=left_out)
