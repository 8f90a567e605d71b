"""Label stocks, the widths they are stocked in, rolls, and what is still to come."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from sqlalchemy import ForeignKey, Index, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.plant import Flaw
from app.store.columns import Document, Money, UtcTime, key_text
from app.store.tables.base import Base, Kept, length_m, length_mm


class SubstrateRow(Kept, Base):
    """A label stock."""

    __tablename__ = "substrates"
    __table_args__ = (
        UniqueConstraint("plant_pk", "code"),
        Index(None, "plant_pk", "code_folded", "code"),
        Index(None, "plant_pk", "updated_at", "code"),
    )

    code: Mapped[str] = mapped_column(key_text())
    code_folded: Mapped[str] = mapped_column(key_text(400))
    name: Mapped[str] = mapped_column(Text)
    eur_per_m2: Mapped[Decimal] = mapped_column(Money())
    material_class: Mapped[str] = mapped_column(Text)
    thickness_um: Mapped[int | None] = mapped_column(Integer)
    liner_thickness_um: Mapped[int | None] = mapped_column(Integer)
    print_settings: Mapped[str] = mapped_column(Text)
    usual_roll_m: Mapped[Decimal | None] = length_m("usual_roll_m")


class StockedWidthRow(Base):
    """A substrate in one width; `on_hand_m` where it is not followed roll by roll."""

    __tablename__ = "stocked_widths"

    substrate_pk: Mapped[int] = mapped_column(
        ForeignKey("substrates.pk", ondelete="CASCADE"), primary_key=True
    )
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    width_mm: Mapped[Decimal] = length_mm("width_mm")
    on_hand_m: Mapped[Decimal | None] = length_m("on_hand_m")


class RollRow(Kept, Base):
    """A roll. Its substrate is named and not referred to: a store may send it before its substrate."""

    __tablename__ = "rolls"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "id_folded", "id"),
        Index(None, "plant_pk", "substrate", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    id_folded: Mapped[str] = mapped_column(key_text(400))
    substrate: Mapped[str] = mapped_column(key_text())
    width_mm: Mapped[Decimal] = length_mm("width_mm")
    length_m: Mapped[Decimal] = length_m("length_m")
    received: Mapped[datetime | None] = mapped_column(UtcTime())
    best_before: Mapped[datetime | None] = mapped_column(UtcTime())
    location: Mapped[str] = mapped_column(Text)
    flaws: Mapped[tuple[Flaw, ...]] = mapped_column(Document(tuple[Flaw, ...]))
    reserved_for: Mapped[str | None] = mapped_column(key_text())
    on_unwind: Mapped[str | None] = mapped_column(key_text())
    arrives: Mapped[datetime | None] = mapped_column(UtcTime())


class DeliveryRow(Kept, Base):
    """Stock that is to come, not roll by roll."""

    __tablename__ = "deliveries"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "id_folded", "id"),
        Index(None, "plant_pk", "substrate", "id"),
        Index(None, "plant_pk", "at", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    id_folded: Mapped[str] = mapped_column(key_text(400))
    substrate: Mapped[str] = mapped_column(key_text())
    width_mm: Mapped[Decimal] = length_mm("width_mm")
    at: Mapped[datetime] = mapped_column(UtcTime())
    length_m: Mapped[Decimal] = length_m("length_m")
