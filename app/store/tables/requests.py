"""Planning requests as workers take them, what each is worked out from, and what happened to it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, Float, ForeignKey, Index, Integer, LargeBinary, Text, UniqueConstraint
from sqlalchemy import text as sql
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.planning_requests import (
    EventKind,
    NewPlanningRequest,
    RequestProblem,
    RequestProgress,
    RequestResult,
    RequestStatus,
)
from app.store.columns import Choice, Document, UtcTime, key_text
from app.store.tables.base import Base, of_plant, primary_key

STATUSES = "('queued', 'running', 'finished', 'cancelled', 'failed', 'dead')"
QUEUED, RUNNING = "status = 'queued'", "status = 'running'"


class RequestRow(Base):
    """A planning request: how far it is and what came of it.

    Whoever works on it names its `worker` and `attempt` with every change; `attempt` only grows, so that a
    worker who lost it changes nothing. `lease_until` stands while it runs: behind it others may take it.
    `attempts` is how often it may begin before it is dead, `attempts_left` what is left of that.

    Those that wait and those that run have an index of their own, however many are over. None of the columns
    that a heartbeat writes is in any index, so that PostgreSQL writes the row alone.
    """

    __tablename__ = "planning_requests"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "pk"),
        Index(None, "plant_pk", "status", "pk"),
        Index(None, "plant_pk", "priority", "pk"),
        Index(None, "plant_pk", "name", "pk"),
        Index("ix_planning_requests_running", "pk", sqlite_where=sql(RUNNING), postgresql_where=sql(RUNNING)),
        CheckConstraint(f"status IN {STATUSES}", name="status_is_known"),
        CheckConstraint("attempts_left >= 0", name="attempts_left_are_counted"),
        CheckConstraint(
            "(status = 'running') = (lease_until IS NOT NULL)", name="a_lease_is_of_one_that_runs"
        ),
    )

    pk: Mapped[int] = primary_key()
    plant_pk: Mapped[int] = of_plant()
    id: Mapped[str] = mapped_column(key_text())
    name: Mapped[str] = mapped_column(key_text())
    status: Mapped[RequestStatus] = mapped_column(Choice(RequestStatus))
    priority: Mapped[int] = mapped_column(Integer)
    attempt: Mapped[int] = mapped_column(Integer)
    attempts: Mapped[int] = mapped_column(Integer)
    attempts_left: Mapped[int] = mapped_column(Integer)
    worker: Mapped[str | None] = mapped_column(Text)
    lease_until: Mapped[datetime | None] = mapped_column(UtcTime())
    limit_s: Mapped[float] = mapped_column(Float(53))
    cancel_requested_at: Mapped[datetime | None] = mapped_column(UtcTime())
    created_at: Mapped[datetime] = mapped_column(UtcTime())
    created_by: Mapped[str] = mapped_column(Text)
    started_at: Mapped[datetime | None] = mapped_column(UtcTime())
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime())
    event_number: Mapped[int] = mapped_column(Integer)
    progress_number: Mapped[int] = mapped_column(Integer)
    progress: Mapped[RequestProgress | None] = mapped_column(Document(RequestProgress))
    incumbent: Mapped[bytes | None] = mapped_column(LargeBinary)
    result: Mapped[RequestResult | None] = mapped_column(Document(RequestResult))
    reasons: Mapped[bytes | None] = mapped_column(LargeBinary)
    problem: Mapped[RequestProblem | None] = mapped_column(Document(RequestProblem))


Index(
    "ix_planning_requests_queued",
    RequestRow.priority.desc(),
    RequestRow.pk,
    sqlite_where=sql(QUEUED),
    postgresql_where=sql(QUEUED),
)


class RequestInputRow(Base):
    """What a request asks for and is worked out from: `input` whole, as compressed JSON. It never changes,
    and lies apart since SQLite writes all of a row with each heartbeat.

    `state` is another one when plant or jobs have changed since.
    """

    __tablename__ = "request_inputs"

    request_pk: Mapped[int] = mapped_column(
        ForeignKey("planning_requests.pk", ondelete="CASCADE"), primary_key=True
    )
    asked: Mapped[NewPlanningRequest] = mapped_column(Document(NewPlanningRequest))
    notes: Mapped[tuple[str, ...]] = mapped_column(Document(tuple[str, ...]))
    input: Mapped[bytes] = mapped_column(LargeBinary)
    digest: Mapped[str] = mapped_column(key_text(64))
    state: Mapped[str] = mapped_column(key_text(64))


class RequestEventRow(Base):
    """Something that happened to a request. A trigger of the database refuses to change a row; it goes with
    its request.
    """

    __tablename__ = "request_events"

    request_pk: Mapped[int] = mapped_column(
        ForeignKey("planning_requests.pk", ondelete="CASCADE"), primary_key=True
    )
    number: Mapped[int] = mapped_column(Integer, primary_key=True)
    at: Mapped[datetime] = mapped_column(UtcTime())
    kind: Mapped[EventKind] = mapped_column(Choice(EventKind))
    told: Mapped[str] = mapped_column(Text)
