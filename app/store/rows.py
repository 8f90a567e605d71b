"""Items as rows, and rows as items. Nothing else knows both."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC
from itertools import islice
from typing import Any, TypeVar, cast

from sqlalchemy import (
    ColumnElement,
    Connection,
    RowMapping,
    Table,
    any_,
    func,
    literal,
    select,
    text,
)
from sqlalchemy.dialects.postgresql import ARRAY

from app.contracts.stored import Stored
from app.store.engine import is_sqlite
from app.store.folding import fold
from app.store.kind import REVISION, Child, ItemT, Kind

Row = dict[str, Any]
Many = TypeVar("Many")


def among(
    connection: Connection, column: ColumnElement[Any], values: Sequence[str] | Sequence[int]
) -> ColumnElement[bool]:
    """Whether a column has one of any number of values, all of them in one parameter: databases take a
    limited number, and drivers read through the text of every statement.
    """
    if is_sqlite(connection):
        listed = func.json_each(json.dumps(values)).table_valued("value")
        return column.in_(select(listed.c.value))
    return column == any_(literal(list(values), ARRAY(column.type)))


def in_utc(kind: Kind[ItemT], item: ItemT) -> ItemT:
    """The item with its moments in UTC, so that the same moment is always written the same."""
    changed = {
        name: moment.astimezone(UTC)
        for name in kind.moments
        if (moment := getattr(item, name)) is not None and moment.tzinfo is not UTC
    }
    return item.model_copy(update=changed) if changed else item


def row_of(kind: Kind[ItemT], item: ItemT) -> Row:
    """The columns that an item fills."""
    values = item.__dict__
    row = {name: values[name] for name in kind.columns}
    for column, name in kind.folded.items():
        row[column] = fold(values[name])
    return row


def child_rows(child: Child, item: Any, pk: int) -> Iterator[Row]:
    """The rows of an item's parts, counted from 1."""
    for position, part in enumerate(getattr(item, child.field), 1):
        yield {child.parent: pk, "position": position, **part.__dict__}


def new_numbers(connection: Connection, table: Table, count: int) -> Iterator[int]:
    """Numbers for new rows. The transaction has them to itself: on SQLite nobody else writes."""
    if is_sqlite(connection):
        last = connection.execute(select(func.coalesce(func.max(table.c.pk), 0))).scalar_one()
        return iter(range(last + 1, last + 1 + count))
    numbers = connection.execute(_NEXT, {"sequence": f"{table.name}_pk_seq", "count": count})
    return iter(list(numbers.scalars()))


_NEXT = text("SELECT nextval(:sequence) FROM generate_series(1, :count)")


def items_where(
    connection: Connection, kind: Kind[ItemT], *conditions: ColumnElement[bool]
) -> list[tuple[RowMapping, ItemT]]:
    """Rows and the items that they and their children make."""
    rows = connection.execute(select(*kind.read_columns).where(*conditions).order_by(kind.table.c.pk))
    return items_of(connection, kind, list(rows.mappings()))


def items_of(
    connection: Connection, kind: Kind[ItemT], rows: Sequence[RowMapping]
) -> list[tuple[RowMapping, ItemT]]:
    """The items of rows, with their parts."""
    numbers = [row["pk"] for row in rows]
    parts = {child.field: _parts(connection, child, numbers) for child in kind.children}
    return [(row, _item(kind, row, parts)) for row in rows]


def _parts(connection: Connection, child: Child, numbers: Sequence[int]) -> dict[int, list[Any]]:
    table, parts = child.table, defaultdict(list)
    parent = table.c[child.parent]
    columns = (table.c[name] for name in child.columns)
    chosen = select(parent, *columns).where(among(connection, parent, numbers))
    for number, *values in connection.execute(chosen.order_by(parent, table.c.position)):
        made = child.contract.model_construct(**dict(zip(child.columns, values, strict=True)))
        parts[number].append(made)
    return parts


def _item(kind: Kind[ItemT], row: RowMapping, parts: dict[str, dict[int, list[Any]]]) -> ItemT:
    values = {name: row[name] for name in kind.columns}
    for name, of_parent in parts.items():
        values[name] = tuple(of_parent.get(row["pk"], ()))
    if kind.counts_revisions:
        values[REVISION] = row[REVISION]
    return cast("ItemT", kind.contract.model_construct(**values))


def stored(kind: Kind[ItemT], row: RowMapping, item: ItemT) -> Stored[ItemT]:
    """An item with what the store says of it."""
    shown = {name: row[name] for name in kind.shown}
    return kind.stored.model_construct(
        item=item, version=row["version"], updated_at=row["updated_at"], **shown
    )


def first(found: Iterable[Many]) -> Many | None:
    """The first, if there is one."""
    return next(islice(found, 1), None)
