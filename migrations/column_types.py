"""What columns are made of on either database, as the migrations write them down."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import JSON

SQLITE, POSTGRESQL = "sqlite", "postgresql"

PRIMARY_KEY = sa.BigInteger().with_variant(sa.Integer(), SQLITE)
LENGTH = sa.BigInteger()
"""Whole µm."""

EXACT = sa.Numeric(18, 6).with_variant(sa.BigInteger(), SQLITE)
"""Six decimal places; on SQLite whole millionths."""

MOMENT = sa.DateTime(timezone=True).with_variant(sa.BigInteger(), SQLITE)
"""On SQLite whole µs since 1970, UTC."""

DOCUMENT = sa.Text().with_variant(JSON(), POSTGRESQL)


def key_text(length: int) -> sa.types.TypeEngine[str]:
    """Text that is compared code point by code point."""
    return sa.String(length).with_variant(sa.String(length, collation="C"), POSTGRESQL)
