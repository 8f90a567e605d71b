"""What really happened on the lines, as it was posted."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from sqlalchemy import Index, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.actuals import VersionMade
from app.contracts.orders import LabelRange
from app.store.columns import Document, UtcTime, key_text
from app.store.tables.base import Base, Kept, length_m


class ActualRow(Kept, Base):
    """A run as it was; of a lot, which labels."""

    __tablename__ = "actuals"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "id_folded", "id"),
        Index(None, "plant_pk", "line", "started", "id"),
        Index(None, "plant_pk", "started", "id"),
        Index(None, "plant_pk", "job", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    id_folded: Mapped[str] = mapped_column(key_text(400))
    line: Mapped[str] = mapped_column(key_text())
    job: Mapped[str] = mapped_column(key_text())
    lot: Mapped[LabelRange | None] = mapped_column(Document(LabelRange))
    changeover_start: Mapped[datetime | None] = mapped_column(UtcTime())
    started: Mapped[datetime] = mapped_column(UtcTime())
    ended: Mapped[datetime | None] = mapped_column(UtcTime())
    good_m: Mapped[Decimal | None] = length_m("good_m")
    waste_m: Mapped[Decimal | None] = length_m("waste_m")
    stops: Mapped[int | None] = mapped_column(Integer)
    versions: Mapped[tuple[VersionMade, ...]] = mapped_column(Document(tuple[VersionMade, ...]))
    note: Mapped[str] = mapped_column(Text)
