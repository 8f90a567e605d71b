"""Who wants to hear of what, what has happened, and how far the deliveries are."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Boolean, CheckConstraint, ForeignKey, Index, Integer, Text, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.webhooks import DeliveryStatus, EventType
from app.store.columns import Choice, Document, UtcTime, key_text
from app.store.tables.base import Base, Kept, of_plant, primary_key


class WebhookRow(Kept, Base):
    """A receiver.

    Its secret signs, so it is kept as it is. Whoever delivers to it holds the `turn` until `lease_until`:
    nobody else delivers to it meanwhile, and what an older turn has to tell is not taken any more.
    `failures` counts attempts that failed in a row, `served_at` is when it was told something last.
    """

    __tablename__ = "webhooks"
    __table_args__ = (
        UniqueConstraint("plant_pk", "id"),
        Index(None, "plant_pk", "name_folded", "id"),
        Index(None, "plant_pk", "updated_at", "id"),
    )

    id: Mapped[str] = mapped_column(key_text())
    name: Mapped[str] = mapped_column(Text)
    name_folded: Mapped[str] = mapped_column(key_text(400))
    url: Mapped[str] = mapped_column(Text)
    types: Mapped[tuple[EventType, ...]] = mapped_column(Document(tuple[EventType, ...]))
    active: Mapped[bool] = mapped_column(Boolean)
    switched_off: Mapped[str] = mapped_column(Text)
    secret: Mapped[str] = mapped_column(Text)
    secret_made_at: Mapped[datetime] = mapped_column(UtcTime())
    old_secret: Mapped[str | None] = mapped_column(Text)
    old_secret_until: Mapped[datetime | None] = mapped_column(UtcTime())
    worker: Mapped[str | None] = mapped_column(Text)
    turn: Mapped[int] = mapped_column(Integer)
    lease_until: Mapped[datetime | None] = mapped_column(UtcTime())
    failures: Mapped[int] = mapped_column(Integer)
    rests_until: Mapped[datetime | None] = mapped_column(UtcTime())
    served_at: Mapped[datetime | None] = mapped_column(UtcTime())


class WebhookMessageRow(Base):
    """Something that has happened, as it is told: `body` is sent letter by letter at every attempt."""

    __tablename__ = "webhook_messages"
    __table_args__ = (Index(None, "at"),)

    pk: Mapped[int] = primary_key()
    plant_pk: Mapped[int] = of_plant()
    id: Mapped[str] = mapped_column(key_text(), unique=True)
    type: Mapped[str] = mapped_column(key_text(40))
    at: Mapped[datetime] = mapped_column(UtcTime())
    body: Mapped[str] = mapped_column(Text)


_PENDING, _DELIVERED = text("status = 'pending'"), text("status = 'delivered'")


class WebhookDeliveryRow(Base):
    """A message on its way to a receiver. It is due while it is pending; over when it is not."""

    __tablename__ = "webhook_deliveries"
    __table_args__ = (
        CheckConstraint("status IN ('pending', 'delivered', 'dead')", name="status_is_known"),
        UniqueConstraint("webhook_pk", "id"),
        Index(None, "webhook_pk", "pk"),
        Index(None, "webhook_pk", "status", "pk"),
        Index(None, "message_pk"),
        Index(
            "ix_webhook_deliveries_due",
            "webhook_pk",
            "due_at",
            "pk",
            sqlite_where=_PENDING,
            postgresql_where=_PENDING,
        ),
        Index(
            "ix_webhook_deliveries_delivered",
            "tried_at",
            sqlite_where=_DELIVERED,
            postgresql_where=_DELIVERED,
        ),
    )

    pk: Mapped[int] = primary_key()
    plant_pk: Mapped[int] = of_plant()
    webhook_pk: Mapped[int] = mapped_column(ForeignKey("webhooks.pk", ondelete="CASCADE"))
    message_pk: Mapped[int] = mapped_column(ForeignKey("webhook_messages.pk", ondelete="CASCADE"))
    id: Mapped[str] = mapped_column(key_text())
    status: Mapped[DeliveryStatus] = mapped_column(Choice(DeliveryStatus))
    attempts: Mapped[int] = mapped_column(Integer)
    due_at: Mapped[datetime] = mapped_column(UtcTime())
    tried_at: Mapped[datetime | None] = mapped_column(UtcTime())
    answered: Mapped[int | None] = mapped_column(Integer)
    told: Mapped[str] = mapped_column(Text)
    took_ms: Mapped[int | None] = mapped_column(Integer)
