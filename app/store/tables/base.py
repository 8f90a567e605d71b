"""What all tables share: names of constraints, and what is kept of everything that has an external key."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Integer, MetaData, String
from sqlalchemy.orm import DeclarativeBase, Mapped, MappedColumn, declared_attr, mapped_column

from app.store.columns import LengthM, LengthMm, PrimaryKey, UtcTime

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
"""Every constraint has a name, so that a migration can speak of it."""

DIGEST_LENGTH = 32


class Base(DeclarativeBase):
    """All tables."""

    metadata = MetaData(naming_convention=NAMES)


def primary_key() -> MappedColumn[int]:
    return mapped_column(PrimaryKey, primary_key=True)


def of_plant() -> MappedColumn[int]:
    """The plant that a row is of; it goes with it. Not indexed by itself: every unique key begins with it."""
    return mapped_column(ForeignKey("plants.pk", ondelete="CASCADE"))


def length_m(name: str, **options: Any) -> MappedColumn[Decimal]:
    """A length in m, its column named in µm: `on_hand_m` is kept in `on_hand_um`."""
    return mapped_column(f"{name.removesuffix('_m')}_um", LengthM(), key=name, **options)


def length_mm(name: str, **options: Any) -> MappedColumn[Decimal]:
    """A length in mm, its column named in µm: `width_mm` is kept in `width_um`."""
    return mapped_column(f"{name.removesuffix('_mm')}_um", LengthMm(), key=name, **options)


class Kept:
    """What is kept of everything that has an external key.

    `revision` is what its sender counts, `version` what we count: one more with every change. `digest` is
    that of its content, by which a change is told from the same once more.
    """

    pk: Mapped[int] = mapped_column(PrimaryKey, primary_key=True, sort_order=-20)
    revision: Mapped[int | None] = mapped_column(BigInteger, sort_order=90)
    version: Mapped[int] = mapped_column(Integer, sort_order=90)
    digest: Mapped[str] = mapped_column(String(DIGEST_LENGTH), sort_order=90)
    created_at: Mapped[datetime] = mapped_column(UtcTime(), sort_order=90)
    updated_at: Mapped[datetime] = mapped_column(UtcTime(), sort_order=90)

    @declared_attr
    def plant_pk(cls) -> Mapped[int]:
        return mapped_column(ForeignKey("plants.pk", ondelete="CASCADE"), sort_order=-10)
