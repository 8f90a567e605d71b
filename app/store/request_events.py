"""What happens to planning requests: written with the change itself, told to whoever listens."""

from __future__ import annotations

from sqlalchemy import insert, select

from app.contracts.messages import RequestFinished
from app.contracts.planning_requests import EventKind, RequestEvent, RequestStatus
from app.contracts.webhooks import EventType
from app.store.announcing import announce
from app.store.database_clock import now
from app.store.rows import as_it_was
from app.store.store import View, Work
from app.store.tables import Base
from app.store.wakeup import QUEUED_TOPIC, notify, request_topic

EVENTS = Base.metadata.tables["request_events"]
_C = EVENTS.c
_WAITS = frozenset({EventKind.QUEUED, EventKind.RETRIED})
"""Behind these a worker is wanted."""

_ENDS = frozenset(EventKind(status.value) for status in RequestStatus if status.is_over)
_R = Base.metadata.tables["planning_requests"].c


def happened(work: Work, pk: int, id: str, number: int, kind: EventKind, told: str = "") -> None:
    """Write down what happened to a request. Whoever listens is told when the transaction is committed.

    Parameters
    ----------
    pk, id
        The request.
    number
        The request's count of events, this one counted.
    """
    row = {"request_pk": pk, "number": number, "at": now(work), "kind": kind, "told": told}
    work.connection.execute(insert(EVENTS).values(row))
    notify(work, request_topic(id), *([QUEUED_TOPIC] if kind in _WAITS else []))
    if kind in _ENDS:
        _announce_end(work, pk, id, kind)


def _announce_end(work: Work, pk: int, id: str, kind: EventKind) -> None:
    """Tell webhooks that nothing more will be done. Who takes lost requests back is of no plant: the
    request's counts.
    """
    plant, name, result = work.connection.execute(
        select(_R.plant_pk, _R.name, _R.result).where(_R.pk == pk)
    ).one()
    sequence = None if result is None else result.sequence
    told = RequestFinished(request=id, name=name, status=RequestStatus(kind.value), sequence=sequence)
    announce(work, EventType.REQUEST_FINISHED, [told.model_dump()], plant)


def after(view: View, pk: int, number: int) -> tuple[RequestEvent, ...]:
    """Events of a request behind one of them, in their order."""
    columns = [_C[name] for name in RequestEvent.model_fields]
    chosen = select(*columns).where(_C.request_pk == pk, _C.number > number).order_by(_C.number)
    return tuple(as_it_was(RequestEvent, dict(row)) for row in view.connection.execute(chosen).mappings())
