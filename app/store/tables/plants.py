"""Plants, and their lines."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from sqlalchemy import Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.base import Word
from app.contracts.plant import Calendar, Line, PresentState, StationKind, StockRules, WashUp
from app.store.columns import Document, Money, Quantity6, UtcTime, key_text
from app.store.tables.base import Base, Kept, length_mm, primary_key


class PlantRow(Base):
    """A plant: its clock, its prices, what its lines have in common.

    `setup_version` is one more with every change of set-up, stock or tooling: what was worked out by an
    older one is out of date.
    """

    __tablename__ = "plants"

    pk: Mapped[int] = primary_key()
    name: Mapped[str] = mapped_column(key_text(), unique=True)
    site_name: Mapped[str] = mapped_column(Text)
    zone: Mapped[str] = mapped_column(Text)
    plan_from: Mapped[datetime | None] = mapped_column(UtcTime())
    note: Mapped[str] = mapped_column(Text)
    late_eur: Mapped[Decimal] = mapped_column(Money())
    late_eur_per_h: Mapped[Decimal] = mapped_column(Money())
    after_press_min: Mapped[Decimal] = mapped_column(Quantity6())
    overs_pct: Mapped[Decimal] = mapped_column(Quantity6())
    core_wall_mm: Mapped[Decimal] = length_mm("core_wall_mm")
    moved_run_eur: Mapped[Decimal] = mapped_column(Money())
    calendar: Mapped[Calendar] = mapped_column(Document(Calendar))
    station_kinds: Mapped[dict[str, StationKind]] = mapped_column(Document(dict[Word, StationKind]))
    wash_ups: Mapped[tuple[WashUp, ...]] = mapped_column(Document(tuple[WashUp, ...]))
    stock_rules: Mapped[StockRules] = mapped_column(Document(StockRules))
    setup_version: Mapped[int] = mapped_column(Integer)
    version: Mapped[int] = mapped_column(Integer)
    created_at: Mapped[datetime] = mapped_column(UtcTime())
    updated_at: Mapped[datetime] = mapped_column(UtcTime())


class LineRow(Kept, Base):
    """A press line. How it stands has a version of its own: the floor changes it all day, its set-up hardly
    ever.
    """

    __tablename__ = "lines"
    __table_args__ = (UniqueConstraint("plant_pk", "id"),)

    id: Mapped[str] = mapped_column(key_text())
    position: Mapped[int] = mapped_column(Integer)
    setup: Mapped[Line] = mapped_column(Document(Line))
    present: Mapped[PresentState] = mapped_column(Document(PresentState))
    present_version: Mapped[int] = mapped_column(Integer)
    present_updated_at: Mapped[datetime] = mapped_column(UtcTime())
