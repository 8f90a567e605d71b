"""Releases of sequences, and when runs of kept sequences are due and how late they are."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import sqlalchemy as sa
from alembic import op

from migrations.column_types import DOCUMENT, EXACT, MOMENT, PRIMARY_KEY, SQLITE, key_text

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_AT_ONCE = 20
"""Sequences whose plans are in memory together."""


def upgrade() -> None:
    _due_times_of_runs()
    _releases()
    _release_lines()


def _due_times_of_runs() -> None:
    """Of the runs that are there their sequences' plans tell them."""
    op.add_column("sequence_runs", sa.Column("press_due", MOMENT, nullable=True))
    op.add_column("sequence_runs", sa.Column("late_min", EXACT, nullable=True))
    connection = op.get_bind()
    numbers = list(connection.scalars(sa.text("SELECT pk FROM sequences ORDER BY pk")))
    for begin in range(0, len(numbers), _AT_ONCE):
        rows = [row for pk in numbers[begin : begin + _AT_ONCE] for row in _runs_of(connection, pk)]
        if rows:
            connection.execute(_FILL, rows)
    with op.batch_alter_table("sequence_runs") as batch:
        batch.alter_column("late_min", existing_type=EXACT, nullable=False)


_FILL = sa.text(
    "UPDATE sequence_runs SET press_due = :press_due, late_min = :late_min "
    "WHERE sequence_pk = :sequence_pk AND line = :line AND position = :position"
)


def _runs_of(connection: sa.Connection, pk: int) -> Iterator[dict[str, Any]]:
    """The runs of a sequence as its plan has them."""
    kept = connection.execute(sa.text("SELECT plan FROM sequences WHERE pk = :pk"), {"pk": pk}).scalar_one()
    plan = json.loads(zlib.decompress(kept), parse_float=Decimal)
    for line in plan["sequence"]["lines"]:
        for position, run in enumerate(line["runs"], 1):
            yield {
                "sequence_pk": pk,
                "line": line["line"],
                "position": position,
                "press_due": _moment(connection, run["press_due"]),
                "late_min": _exact(connection, run["late_min"]),
            }


def _moment(connection: sa.Connection, told: str | None) -> datetime | int | None:
    if told is None:
        return None
    moment = datetime.fromisoformat(told)
    if connection.dialect.name != SQLITE:
        return moment
    return (moment - _EPOCH) // timedelta(microseconds=1)


def _exact(connection: sa.Connection, told: int | Decimal) -> Decimal | int:
    number = Decimal(told)
    return int(number.scaleb(6)) if connection.dialect.name == SQLITE else number


def _releases() -> None:
    op.create_table(
        "releases",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("sequence_pk", PRIMARY_KEY, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("despite", DOCUMENT, nullable=False),
        sa.Column("released_at", MOMENT, nullable=False),
        sa.Column("released_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_releases_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["sequence_pk"], ["sequences.pk"], name=op.f("fk_releases_sequence_pk_sequences")
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_releases")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_releases_plant_pk_id")),
    )
    op.create_index(op.f("ix_releases_plant_pk_pk"), "releases", ["plant_pk", "pk"], unique=False)
    op.create_index(op.f("ix_releases_sequence_pk"), "releases", ["sequence_pk"], unique=False)


def _release_lines() -> None:
    op.create_table(
        "release_lines",
        sa.Column("release_pk", PRIMARY_KEY, nullable=False),
        sa.Column("line", key_text(80), nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("runs", sa.Integer(), nullable=False),
        sa.Column("first_start", MOMENT, nullable=True),
        sa.Column("last_end", MOMENT, nullable=True),
        sa.Column("superseded_at", MOMENT, nullable=True),
        sa.Column("superseded_by", PRIMARY_KEY, nullable=True),
        sa.Column("withdrawn_at", MOMENT, nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawal_note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_release_lines_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["release_pk"],
            ["releases.pk"],
            name=op.f("fk_release_lines_release_pk_releases"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["superseded_by"], ["releases.pk"], name=op.f("fk_release_lines_superseded_by_releases")
        ),
        sa.PrimaryKeyConstraint("release_pk", "line", name=op.f("pk_release_lines")),
    )
    current = sa.text("superseded_at IS NULL AND withdrawn_at IS NULL")
    op.create_index(
        "ix_release_lines_current",
        "release_lines",
        ["plant_pk", "line"],
        unique=True,
        sqlite_where=current,
        postgresql_where=current,
    )
