"""Users and keys."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Boolean, CheckConstraint, Date, ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.security import Role
from app.store.columns import Choice, UtcTime, key_text
from app.store.tables.base import Base, Kept, of_plant, primary_key

ROLES = "('integration', 'scheduler', 'supervisor', 'admin', 'press')"


class UserRow(Kept, Base):
    """Somebody who may use the program; of the role press only at one line."""

    __tablename__ = "users"
    __table_args__ = (
        UniqueConstraint("plant_pk", "name"),
        CheckConstraint(f"role IN {ROLES}", name="role_is_known"),
    )

    name: Mapped[str] = mapped_column(key_text())
    full_name: Mapped[str] = mapped_column(Text)
    role: Mapped[Role] = mapped_column(Choice(Role))
    line: Mapped[str | None] = mapped_column(key_text())
    active: Mapped[bool] = mapped_column(Boolean)


class KeyRow(Base):
    """A key, of which only the hash is kept; `id` is its part that may be seen."""

    __tablename__ = "keys"
    __table_args__ = (CheckConstraint(f"role IN {ROLES}", name="role_is_known"),)

    pk: Mapped[int] = primary_key()
    plant_pk: Mapped[int] = of_plant()
    id: Mapped[str] = mapped_column(key_text(), unique=True)
    hash: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    role: Mapped[Role] = mapped_column(Choice(Role))
    line: Mapped[str | None] = mapped_column(key_text())
    user_pk: Mapped[int | None] = mapped_column(ForeignKey("users.pk", ondelete="CASCADE"), index=True)
    created_at: Mapped[datetime] = mapped_column(UtcTime())
    expires_at: Mapped[datetime | None] = mapped_column(UtcTime())
    revoked_at: Mapped[datetime | None] = mapped_column(UtcTime())
    last_used_on: Mapped[date | None] = mapped_column(Date)
