"""Who changed what from what to what."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import Json, UtcTime, key_text
from app.store.tables.base import Base, primary_key


class AuditRow(Base):
    """One change. Triggers of the database refuse to change or remove a row, whoever asks.

    Without a plant it concerns the whole database. `before` and `after` are the contract's JSON: none before
    something was made, none after it was removed.
    """

    __tablename__ = "audit"
    __table_args__ = (
        Index(None, "plant_pk", "resource", "key", "pk"),
        Index(None, "plant_pk", "pk"),
    )

    pk: Mapped[int] = primary_key()
    plant_pk: Mapped[int | None] = mapped_column(ForeignKey("plants.pk"))
    at: Mapped[datetime] = mapped_column(UtcTime())
    actor: Mapped[str] = mapped_column(Text)
    action: Mapped[str] = mapped_column(key_text(20))
    resource: Mapped[str] = mapped_column(key_text(40))
    key: Mapped[str] = mapped_column(key_text())
    before: Mapped[str | None] = mapped_column(Json())
    after: Mapped[str | None] = mapped_column(Json())
    request_id: Mapped[str | None] = mapped_column(Text)
