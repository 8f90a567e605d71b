"""Planning requests, what they are worked out from, and their events."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from migrations.column_types import DOCUMENT, MOMENT, PRIMARY_KEY, SQLITE, key_text

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _planning_requests()
    _indexes_of_planning_requests()
    _request_inputs()
    _request_events()
    _unchanged_events()


def _planning_requests() -> None:
    op.create_table(
        "planning_requests",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("name", key_text(80), nullable=False),
        sa.Column("status", key_text(40), nullable=False),
        sa.Column("priority", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("attempts_left", sa.Integer(), nullable=False),
        sa.Column("worker", sa.Text(), nullable=True),
        sa.Column("lease_until", MOMENT, nullable=True),
        sa.Column("limit_s", sa.Float(53), nullable=False),
        sa.Column("cancel_requested_at", MOMENT, nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("started_at", MOMENT, nullable=True),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.Column("event_number", sa.Integer(), nullable=False),
        sa.Column("progress_number", sa.Integer(), nullable=False),
        sa.Column("progress", DOCUMENT, nullable=True),
        sa.Column("incumbent", sa.LargeBinary(), nullable=True),
        sa.Column("result", DOCUMENT, nullable=True),
        sa.Column("reasons", sa.LargeBinary(), nullable=True),
        sa.Column("problem", DOCUMENT, nullable=True),
        sa.CheckConstraint(
            "status IN ('queued', 'running', 'finished', 'cancelled', 'failed', 'dead')",
            name=op.f("ck_planning_requests_status_is_known"),
        ),
        sa.CheckConstraint("attempts_left >= 0", name=op.f("ck_planning_requests_attempts_left_are_counted")),
        sa.CheckConstraint(
            "(status = 'running') = (lease_until IS NOT NULL)",
            name=op.f("ck_planning_requests_a_lease_is_of_one_that_runs"),
        ),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_planning_requests_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_planning_requests")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_planning_requests_plant_pk_id")),
    )


def _indexes_of_planning_requests() -> None:
    for columns in (("pk",), ("status", "pk"), ("priority", "pk"), ("name", "pk")):
        name = op.f(f"ix_planning_requests_plant_pk_{'_'.join(columns)}")
        op.create_index(name, "planning_requests", ["plant_pk", *columns], unique=False)
    _index_of_status("queued", sa.text("priority DESC"), "pk")
    _index_of_status("running", "pk")


def _index_of_status(status: str, *columns: str | sa.TextClause) -> None:
    """An index of the requests of a status, however many others there are."""
    where = sa.text(f"status = '{status}'")
    op.create_index(
        op.f(f"ix_planning_requests_{status}"),
        "planning_requests",
        columns,
        unique=False,
        sqlite_where=where,
        postgresql_where=where,
    )


def _request_inputs() -> None:
    op.create_table(
        "request_inputs",
        sa.Column("request_pk", PRIMARY_KEY, nullable=False),
        sa.Column("asked", DOCUMENT, nullable=False),
        sa.Column("notes", DOCUMENT, nullable=False),
        sa.Column("input", sa.LargeBinary(), nullable=False),
        sa.Column("digest", key_text(64), nullable=False),
        sa.Column("state", key_text(64), nullable=False),
        sa.ForeignKeyConstraint(
            ["request_pk"],
            ["planning_requests.pk"],
            name=op.f("fk_request_inputs_request_pk_planning_requests"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("request_pk", name=op.f("pk_request_inputs")),
    )


def _request_events() -> None:
    op.create_table(
        "request_events",
        sa.Column("request_pk", PRIMARY_KEY, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("kind", key_text(40), nullable=False),
        sa.Column("told", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["request_pk"],
            ["planning_requests.pk"],
            name=op.f("fk_request_events_request_pk_planning_requests"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("request_pk", "number", name=op.f("pk_request_events")),
    )


NEVER_CHANGED = "events of planning requests are never changed"


def _unchanged_events() -> None:
    """Nobody changes what happened. On SQLite a table that is made anew loses its triggers: a migration that
    does so with `request_events` calls for this one again.
    """
    if op.get_bind().dialect.name == SQLITE:
        op.execute(
            "CREATE TRIGGER request_events_no_update BEFORE UPDATE ON request_events "
            f"BEGIN SELECT RAISE(ABORT, '{NEVER_CHANGED}'); END"
        )
        return
    op.execute(
        "CREATE FUNCTION request_events_stay() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{NEVER_CHANGED}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER request_events_no_update BEFORE UPDATE ON request_events "
        "FOR EACH ROW EXECUTE FUNCTION request_events_stay()"
    )
