"""Webhooks: who wants to hear of what, what has happened, and how far the deliveries are."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from migrations.column_types import DOCUMENT, MOMENT, PRIMARY_KEY, key_text

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_PENDING, _DELIVERED = sa.text("status = 'pending'"), sa.text("status = 'delivered'")


def upgrade() -> None:
    _webhooks()
    _messages()
    _deliveries()


def _webhooks() -> None:
    op.create_table(
        "webhooks",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_folded", key_text(400), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("types", DOCUMENT, nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("switched_off", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("secret_made_at", MOMENT, nullable=False),
        sa.Column("old_secret", sa.Text(), nullable=True),
        sa.Column("old_secret_until", MOMENT, nullable=True),
        sa.Column("worker", sa.Text(), nullable=True),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("lease_until", MOMENT, nullable=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("rests_until", MOMENT, nullable=True),
        sa.Column("served_at", MOMENT, nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_webhooks_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_webhooks")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_webhooks_plant_pk_id")),
    )
    for columns in (["plant_pk", "name_folded", "id"], ["plant_pk", "updated_at", "id"]):
        op.create_index(op.f(f"ix_webhooks_{'_'.join(columns)}"), "webhooks", columns, unique=False)


def _messages() -> None:
    op.create_table(
        "webhook_messages",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("type", key_text(40), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_webhook_messages_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_webhook_messages")),
        sa.UniqueConstraint("id", name=op.f("uq_webhook_messages_id")),
    )
    op.create_index(op.f("ix_webhook_messages_at"), "webhook_messages", ["at"], unique=False)


def _deliveries() -> None:
    op.create_table(
        "webhook_deliveries",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("webhook_pk", PRIMARY_KEY, nullable=False),
        sa.Column("message_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("status", key_text(40), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due_at", MOMENT, nullable=False),
        sa.Column("tried_at", MOMENT, nullable=True),
        sa.Column("answered", sa.Integer(), nullable=True),
        sa.Column("told", sa.Text(), nullable=False),
        sa.Column("took_ms", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "status IN ('pending', 'delivered', 'dead')", name=op.f("ck_webhook_deliveries_status_is_known")
        ),
        sa.ForeignKeyConstraint(
            ["plant_pk"],
            ["plants.pk"],
            name=op.f("fk_webhook_deliveries_plant_pk_plants"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["webhook_pk"],
            ["webhooks.pk"],
            name=op.f("fk_webhook_deliveries_webhook_pk_webhooks"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["message_pk"],
            ["webhook_messages.pk"],
            name=op.f("fk_webhook_deliveries_message_pk_webhook_messages"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_webhook_deliveries")),
        sa.UniqueConstraint("webhook_pk", "id", name=op.f("uq_webhook_deliveries_webhook_pk_id")),
    )
    for columns in (["webhook_pk", "pk"], ["webhook_pk", "status", "pk"], ["message_pk"]):
        name = op.f(f"ix_webhook_deliveries_{'_'.join(columns)}")
        op.create_index(name, "webhook_deliveries", columns, unique=False)
    op.create_index(
        "ix_webhook_deliveries_due",
        "webhook_deliveries",
        ["webhook_pk", "due_at", "pk"],
        unique=False,
        sqlite_where=_PENDING,
        postgresql_where=_PENDING,
    )
    op.create_index(
        "ix_webhook_deliveries_delivered",
        "webhook_deliveries",
        ["tried_at"],
        unique=False,
        sqlite_where=_DELIVERED,
        postgresql_where=_DELIVERED,
    )
