"""Jobs and their versions."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from sqlalchemy import Boolean, CheckConstraint, ForeignKey, Index, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.contracts.base import Channel
from app.contracts.jobs import Layer, SpliceRule, Winding
from app.contracts.posted_jobs import JobStatus
from app.store.columns import Choice, Document, Money, Quantity6, UtcTime, key_text
from app.store.tables.base import Base, Kept, length_mm


class JobRow(Kept, Base):
    """Customer work that runs as one. What it names (substrate, die, consumables) need not be there yet."""

    __tablename__ = "jobs"
    __table_args__ = (
        UniqueConstraint("plant_pk", "job"),
        CheckConstraint("status IN ('open', 'cancelled', 'finished')", name="status_is_known"),
        Index(None, "plant_pk", "job_folded", "job"),
        Index(None, "plant_pk", "customer_folded", "job"),
        Index(None, "plant_pk", "due", "job"),
        Index(None, "plant_pk", "status", "job"),
        Index(None, "plant_pk", "status", "due", "job"),
        Index(None, "plant_pk", "substrate", "job"),
        Index(None, "plant_pk", "die", "job"),
        Index(None, "plant_pk", "updated_at", "job"),
    )

    job: Mapped[str] = mapped_column(key_text())
    job_folded: Mapped[str] = mapped_column(key_text(400))
    status: Mapped[JobStatus] = mapped_column(Choice(JobStatus))
    cancel_reason: Mapped[str] = mapped_column(Text)
    customer: Mapped[str] = mapped_column(Text)
    customer_folded: Mapped[str] = mapped_column(key_text(400))
    substrate: Mapped[str] = mapped_column(key_text())
    die: Mapped[str] = mapped_column(key_text())
    colours: Mapped[tuple[str, ...]] = mapped_column(Document(tuple[Channel, ...]))
    finishes: Mapped[tuple[tuple[Layer, ...], ...]] = mapped_column(Document(tuple[tuple[Layer, ...], ...]))
    due: Mapped[datetime | None] = mapped_column(UtcTime())
    ready: Mapped[datetime | None] = mapped_column(UtcTime())
    full_reels: Mapped[bool] = mapped_column(Boolean)
    labels_per_reel: Mapped[int | None] = mapped_column(Integer)
    core_mm: Mapped[Decimal | None] = length_mm("core_mm")
    roll_width_mm: Mapped[Decimal | None] = length_mm("roll_width_mm")
    late_eur: Mapped[Decimal | None] = mapped_column(Money())
    late_eur_per_h: Mapped[Decimal | None] = mapped_column(Money())
    least_lot: Mapped[int | None] = mapped_column(Integer)
    may_join: Mapped[bool] = mapped_column(Boolean)
    splice_rule: Mapped[SpliceRule] = mapped_column(Choice(SpliceRule))
    most_splices_a_reel: Mapped[int | None] = mapped_column(Integer)
    largest_reel_mm: Mapped[Decimal | None] = length_mm("largest_reel_mm")
    winding: Mapped[Winding | None] = mapped_column(Document(Winding))


class JobVersionRow(Base):
    """A SKU inside a job."""

    __tablename__ = "job_versions"

    job_pk: Mapped[int] = mapped_column(ForeignKey("jobs.pk", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    version: Mapped[str] = mapped_column(key_text())
    quantity: Mapped[int] = mapped_column(Integer)
    overs_pct: Mapped[Decimal | None] = mapped_column(Quantity6())
    max_quantity: Mapped[int | None] = mapped_column(Integer)
