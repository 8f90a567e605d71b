"""Releases: which sequence which line was to run, and until when."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, Integer, Text, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.releases import Objection
from app.store.columns import Document, UtcTime, key_text
from app.store.tables.base import Base, of_plant, primary_key

CURRENT = text("superseded_at IS NULL AND withdrawn_at IS NULL")
"""What the line is to run now."""


class ReleaseRow(Base):
    """A sequence that was given to the floor. It keeps its sequence from being removed."""

    __tablename__ = "releases"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "pk"),
        Index(None, "sequence_pk"),
    )

    pk: Mapped[int] = primary_key()
    plant_pk: Mapped[int] = of_plant()
    id: Mapped[str] = mapped_column(key_text())
    sequence_pk: Mapped[int] = mapped_column(ForeignKey("sequences.pk"))
    note: Mapped[str] = mapped_column(Text)
    despite: Mapped[tuple[Objection, ...]] = mapped_column(Document(tuple[Objection, ...]))
    released_at: Mapped[datetime] = mapped_column(UtcTime())
    released_by: Mapped[str] = mapped_column(Text)


class ReleaseLineRow(Base):
    """A line of a release. The database itself holds that a line has one current release at most."""

    __tablename__ = "release_lines"
    __table_args__ = (
        Index(
            "ix_release_lines_current",
            "plant_pk",
            "line",
            unique=True,
            sqlite_where=CURRENT,
            postgresql_where=CURRENT,
        ),
    )

    release_pk: Mapped[int] = mapped_column(ForeignKey("releases.pk", ondelete="CASCADE"), primary_key=True)
    line: Mapped[str] = mapped_column(key_text(), primary_key=True)
    plant_pk: Mapped[int] = of_plant()
    position: Mapped[int] = mapped_column(Integer)
    runs: Mapped[int] = mapped_column(Integer)
    first_start: Mapped[datetime | None] = mapped_column(UtcTime())
    last_end: Mapped[datetime | None] = mapped_column(UtcTime())
    superseded_at: Mapped[datetime | None] = mapped_column(UtcTime())
    superseded_by: Mapped[int | None] = mapped_column(ForeignKey("releases.pk"))
    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcTime())
    withdrawn_by: Mapped[str | None] = mapped_column(Text)
    withdrawal_note: Mapped[str | None] = mapped_column(Text)
