"""Sequences that were kept, and where they place jobs."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from sqlalchemy import BigInteger, ForeignKey, Index, Integer, LargeBinary, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.sequences import Goal
from app.store.columns import Choice, Money, Quantity6, UtcTime, key_text
from app.store.tables.base import Base, Kept, length_m, of_plant


class SequenceRow(Kept, Base):
    """A costed order of runs, and what it was worked out from, both whole as compressed JSON; beside them
    stand the totals that lists show. `state` is another one when plant or jobs have changed since.
    """

    __tablename__ = "sequences"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "id_folded", "id"),
        Index(None, "plant_pk", "start", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    id_folded: Mapped[str] = mapped_column(key_text(400))
    name: Mapped[str] = mapped_column(Text)
    goal: Mapped[Goal] = mapped_column(Choice(Goal))
    start: Mapped[datetime] = mapped_column(UtcTime())
    plan: Mapped[bytes] = mapped_column(LargeBinary)
    input: Mapped[bytes] = mapped_column(LargeBinary)
    state: Mapped[str] = mapped_column(key_text(64))
    jobs: Mapped[int] = mapped_column(Integer)
    left_out: Mapped[int] = mapped_column(Integer)
    late_jobs: Mapped[int] = mapped_column(Integer)
    waste_m: Mapped[Decimal] = length_m("waste_m")
    changeover_min: Mapped[Decimal] = mapped_column(Quantity6())
    lateness_min: Mapped[Decimal] = mapped_column(Quantity6())
    total_eur: Mapped[Decimal] = mapped_column(Money())
    controllable_eur: Mapped[Decimal] = mapped_column(Money())


class SequenceRunRow(Base):
    """A run of a kept sequence, so that a job can tell where it is planned; of a lot, its labels."""

    __tablename__ = "sequence_runs"
    __table_args__ = (Index(None, "plant_pk", "job"),)

    sequence_pk: Mapped[int] = mapped_column(ForeignKey("sequences.pk", ondelete="CASCADE"), primary_key=True)
    line: Mapped[str] = mapped_column(key_text(), primary_key=True)
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    plant_pk: Mapped[int] = of_plant()
    job: Mapped[str] = mapped_column(key_text())
    first_label: Mapped[int | None] = mapped_column(BigInteger)
    last_label: Mapped[int | None] = mapped_column(BigInteger)
    changeover_start: Mapped[datetime] = mapped_column(UtcTime())
    print_start: Mapped[datetime] = mapped_column(UtcTime())
    end: Mapped[datetime] = mapped_column(UtcTime())
    press_due: Mapped[datetime | None] = mapped_column(UtcTime())
    late_min: Mapped[Decimal] = mapped_column(Quantity6())
