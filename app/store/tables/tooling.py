"""Dies, cylinders and consumables."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy import Boolean, Index, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import Quantity6, key_text
from app.store.tables.base import Base, Kept, length_m, length_mm


class DieRow(Kept, Base):
    """A cutting tool."""

    __tablename__ = "dies"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "id_folded", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    id_folded: Mapped[str] = mapped_column(key_text(400))
    repeat_mm: Mapped[Decimal | None] = length_mm("repeat_mm")
    teeth: Mapped[int | None] = mapped_column(Integer)
    pitch: Mapped[str | None] = mapped_column(Text)
    across: Mapped[int] = mapped_column(Integer)
    around: Mapped[int] = mapped_column(Integer)
    label_width_mm: Mapped[Decimal] = length_mm("label_width_mm")
    gap_across_mm: Mapped[Decimal] = length_mm("gap_across_mm")
    cylinder: Mapped[str | None] = mapped_column(key_text())
    print_cylinder: Mapped[str | None] = mapped_column(key_text())
    copies: Mapped[int | None] = mapped_column(Integer)
    min_liner_um: Mapped[int | None] = mapped_column(Integer)
    max_liner_um: Mapped[int | None] = mapped_column(Integer)


class CylinderRow(Kept, Base):
    """A magnetic or a print cylinder."""

    __tablename__ = "cylinders"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "id_folded", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    id_folded: Mapped[str] = mapped_column(key_text(400))
    repeat_mm: Mapped[Decimal | None] = length_mm("repeat_mm")
    teeth: Mapped[int | None] = mapped_column(Integer)
    pitch: Mapped[str | None] = mapped_column(Text)
    copies: Mapped[int | None] = mapped_column(Integer)


class ConsumableRow(Kept, Base):
    """An ink, varnish, adhesive, laminate or foil."""

    __tablename__ = "consumables"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "id_folded", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    id_folded: Mapped[str] = mapped_column(key_text(400))
    darkness: Mapped[Decimal] = mapped_column(Quantity6())
    plate: Mapped[bool] = mapped_column(Boolean)
    anilox: Mapped[str | None] = mapped_column(key_text())
    max_speed_m_min: Mapped[Decimal | None] = mapped_column(Quantity6())
    reel_m: Mapped[Decimal | None] = length_m("reel_m")
