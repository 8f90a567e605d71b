"""Versions of the database's tables, one set for SQLite and PostgreSQL."""
