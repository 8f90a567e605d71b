"""Answers that were given, by the key under which a request may come again."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Integer, LargeBinary, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import UtcTime, key_text
from app.store.tables.base import Base, of_plant, primary_key


class AnswerRow(Base):
    """What was answered to a request, kept in the transaction of its effect."""

    __tablename__ = "answers"
    __table_args__ = (UniqueConstraint("plant_pk", "holder", "key"),)

    pk: Mapped[int] = primary_key()
    plant_pk: Mapped[int] = of_plant()
    holder: Mapped[str] = mapped_column(key_text())
    key: Mapped[str] = mapped_column(key_text(255))
    request: Mapped[str] = mapped_column(Text)
    body_hash: Mapped[str] = mapped_column(key_text(64))
    status: Mapped[int] = mapped_column(Integer)
    headers: Mapped[str] = mapped_column(Text)
    body: Mapped[bytes] = mapped_column(LargeBinary)
    created_at: Mapped[datetime] = mapped_column(UtcTime(), index=True)
