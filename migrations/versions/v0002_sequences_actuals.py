"""Sequences that are kept, actuals, and answers that may be asked for again."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from migrations.column_types import DOCUMENT, EXACT, LENGTH, MOMENT, PRIMARY_KEY, key_text

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _sequences()
    _sequence_runs()
    _actuals()
    _answers()


def _sequences() -> None:
    op.create_table(
        "sequences",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("id_folded", key_text(400), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("goal", key_text(40), nullable=False),
        sa.Column("start", MOMENT, nullable=False),
        sa.Column("plan", sa.LargeBinary(), nullable=False),
        sa.Column("input", sa.LargeBinary(), nullable=False),
        sa.Column("state", key_text(64), nullable=False),
        sa.Column("jobs", sa.Integer(), nullable=False),
        sa.Column("left_out", sa.Integer(), nullable=False),
        sa.Column("late_jobs", sa.Integer(), nullable=False),
        sa.Column("waste_um", LENGTH, nullable=False),
        sa.Column("changeover_min", EXACT, nullable=False),
        sa.Column("lateness_min", EXACT, nullable=False),
        sa.Column("total_eur", EXACT, nullable=False),
        sa.Column("controllable_eur", EXACT, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_sequences_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_sequences")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_sequences_plant_pk_id")),
    )
    op.create_index(
        op.f("ix_sequences_plant_pk_id_folded_id"), "sequences", ["plant_pk", "id_folded", "id"], unique=False
    )
    op.create_index(
        op.f("ix_sequences_plant_pk_start_id"), "sequences", ["plant_pk", "start", "id"], unique=False
    )
    op.create_index(
        op.f("ix_sequences_plant_pk_updated_at_id"),
        "sequences",
        ["plant_pk", "updated_at", "id"],
        unique=False,
    )


def _sequence_runs() -> None:
    op.create_table(
        "sequence_runs",
        sa.Column("sequence_pk", PRIMARY_KEY, nullable=False),
        sa.Column("line", key_text(80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("job", key_text(80), nullable=False),
        sa.Column("first_label", sa.BigInteger(), nullable=True),
        sa.Column("last_label", sa.BigInteger(), nullable=True),
        sa.Column("changeover_start", MOMENT, nullable=False),
        sa.Column("print_start", MOMENT, nullable=False),
        sa.Column("end", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_sequence_runs_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["sequence_pk"],
            ["sequences.pk"],
            name=op.f("fk_sequence_runs_sequence_pk_sequences"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("sequence_pk", "line", "position", name=op.f("pk_sequence_runs")),
    )
    op.create_index(op.f("ix_sequence_runs_plant_pk_job"), "sequence_runs", ["plant_pk", "job"], unique=False)


def _actuals() -> None:
    op.create_table(
        "actuals",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("id_folded", key_text(400), nullable=False),
        sa.Column("line", key_text(80), nullable=False),
        sa.Column("job", key_text(80), nullable=False),
        sa.Column("lot", DOCUMENT, nullable=True),
        sa.Column("changeover_start", MOMENT, nullable=True),
        sa.Column("started", MOMENT, nullable=False),
        sa.Column("ended", MOMENT, nullable=True),
        sa.Column("good_um", LENGTH, nullable=True),
        sa.Column("waste_um", LENGTH, nullable=True),
        sa.Column("stops", sa.Integer(), nullable=True),
        sa.Column("versions", DOCUMENT, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_actuals_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_actuals")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_actuals_plant_pk_id")),
    )
    op.create_index(
        op.f("ix_actuals_plant_pk_id_folded_id"), "actuals", ["plant_pk", "id_folded", "id"], unique=False
    )
    op.create_index(op.f("ix_actuals_plant_pk_job_id"), "actuals", ["plant_pk", "job", "id"], unique=False)
    op.create_index(
        op.f("ix_actuals_plant_pk_line_started_id"),
        "actuals",
        ["plant_pk", "line", "started", "id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_actuals_plant_pk_started_id"), "actuals", ["plant_pk", "started", "id"], unique=False
    )
    op.create_index(
        op.f("ix_actuals_plant_pk_updated_at_id"), "actuals", ["plant_pk", "updated_at", "id"], unique=False
    )


def _answers() -> None:
    op.create_table(
        "answers",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("holder", key_text(80), nullable=False),
        sa.Column("key", key_text(255), nullable=False),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("body_hash", key_text(64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_answers_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_answers")),
        sa.UniqueConstraint("plant_pk", "holder", "key", name=op.f("uq_answers_plant_pk_holder_key")),
    )
    op.create_index(op.f("ix_answers_created_at"), "answers", ["created_at"], unique=False)
