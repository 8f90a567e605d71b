"""Rows by the thousand, all of the same columns; and single ones.

SQLAlchemy works out the parameters of every row by itself, which costs more than SQLite's own work. Here a
statement is compiled once for its columns, with what each column's type does to a value, and the driver gets
the finished rows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Dialect, Insert, Table, Update, bindparam, insert, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.sql.dml import ReturningInsert

from app.store.engine import SQLITE
from app.store.rows import Row

Bind = Callable[[Any], Any] | None


@dataclass(frozen=True, slots=True)
class _Prepared:
    """A statement as the driver takes it, and what becomes of each column's value."""

    sql: str
    binds: tuple[tuple[str, Bind], ...]

    def values(self, row: Row) -> dict[str, Any]:
        return {name: row[name] if bind is None else bind(row[name]) for name, bind in self.binds}

    def in_order(self, row: Row) -> tuple[Any, ...]:
        return tuple([row[name] if bind is None else bind(row[name]) for name, bind in self.binds])


def insert_rows(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    """Insert rows; the first one's columns are those of all."""
    if rows:
        _execute(connection, _insertion(table, tuple(rows[0]), connection.dialect), rows)


def insert_new(connection: Connection, table: Table, unique: tuple[str, ...], row: Row) -> int | None:
    """Insert a row and tell its number; None where there is one with the same in its `unique` columns."""
    prepared = _new(table, unique, tuple(row), connection.dialect)
    give = prepared.in_order if connection.dialect.positional else prepared.values
    number: int | None = connection.exec_driver_sql(prepared.sql, give(row)).scalar()
    return number


def update_rows(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    """Change rows by their `pk`; the first one's columns are those of all."""
    if rows:
        _execute(connection, _change(table, tuple(rows[0]), connection.dialect), rows)


def _execute(connection: Connection, prepared: _Prepared, rows: Sequence[Row]) -> None:
    give = prepared.in_order if connection.dialect.positional else prepared.values
    connection.exec_driver_sql(prepared.sql, [give(row) for row in rows])


@lru_cache(maxsize=100)
def _insertion(table: Table, names: tuple[str, ...], dialect: Dialect) -> _Prepared:
    return _prepared(insert(table).inline().values({name: bindparam(name) for name in names}), dialect)


@lru_cache(maxsize=100)
def _new(table: Table, unique: tuple[str, ...], names: tuple[str, ...], dialect: Dialect) -> _Prepared:
    make = sqlite.insert if dialect.name == SQLITE else postgresql.insert
    values: dict[str, Any] = {name: bindparam(name) for name in names}
    made = make(table).values(values).on_conflict_do_nothing(index_elements=list(unique))
    return _prepared(made.returning(table.c.pk), dialect)


@lru_cache(maxsize=100)
def _change(table: Table, names: tuple[str, ...], dialect: Dialect) -> _Prepared:
    changed: dict[str, Any] = {name: bindparam(name) for name in names if name != "pk"}
    this = table.c.pk == bindparam("pk")
    return _prepared(update(table).where(this).values(changed), dialect)


def _prepared(statement: Insert | Update | ReturningInsert[Any], dialect: Dialect) -> _Prepared:
    compiled = statement.compile(dialect=dialect)
    names = compiled.positiontup or tuple(compiled.binds)
    return _Prepared(
        str(compiled),
        tuple(
            (name, compiled.binds[name].type.dialect_impl(dialect).bind_processor(dialect)) for name in names
        ),
    )
