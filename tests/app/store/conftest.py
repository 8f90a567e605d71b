"""Databases for the store's tests."""

from __future__ import annotations

from tests.app.databases import (
    database,
    empty_database,
    migrated_postgresql,
    migrated_sqlite,
    postgresql,
)

__all__ = ["database", "empty_database", "migrated_postgresql", "migrated_sqlite", "postgresql"]
