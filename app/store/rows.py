"""Items as rows, and rows as items. Nothing else knows both."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC
from functools import cache
from itertools import islice
from typing import Any, TypeVar

from sqlalchemy import (
    ColumnElement,
    Connection,
    RowMapping,
    Select,
    Table,
    Text,
    any_,
    bindparam,
    func,
    literal,
    select,
    text,
)
from sqlalchemy.dialects.postgresql import ARRAY

from app.contracts.base import Contract
from app.contracts.stored import Stored
from app.store.engine import is_sqlite
from app.store.folding import fold
from app.store.kind import REVISION, Child, ItemT, Kind

Row = dict[str, Any]
Many = TypeVar("Many")
ContractT = TypeVar("ContractT", bound=Contract)

_set = object.__setattr__


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


def among_these(sqlite: bool, column: ColumnElement[Any]) -> ColumnElement[bool]:
    """The same for a statement that is made once: the values come with `these`."""
    if sqlite:
        listed = func.json_each(bindparam("these", type_=Text())).table_valued("value")
        return column.in_(select(listed.c.value))
    return column == any_(bindparam("these", type_=ARRAY(column.type)))


def these(connection: Connection, values: Sequence[str] | Sequence[int]) -> str | list[Any]:
    """Values for such a statement."""
    return json.dumps(values) if is_sqlite(connection) else list(values)


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
    rows = connection.execute(kind.selection.where(*conditions).order_by(kind.table.c.pk))
    return items_of(connection, kind, list(rows.mappings()))


def item_of(
    connection: Connection, kind: Kind[ItemT], plant: int, key: str
) -> tuple[RowMapping, ItemT] | None:
    """The row of a key and the item that it makes; None if there is none."""
    row = connection.execute(kind.one, {"plant": plant, "key": key}).mappings().first()
    return None if row is None else items_of(connection, kind, [row])[0]


def items_of(
    connection: Connection, kind: Kind[ItemT], rows: Sequence[RowMapping]
) -> list[tuple[RowMapping, ItemT]]:
    """The items of rows, with their parts."""
    numbers = [row["pk"] for row in rows]
    parts = {child.field: _parts(connection, child, numbers) for child in kind.children}
    return [(row, _item(kind, row, parts)) for row in rows]


def as_it_was(contract: type[ContractT], values: dict[str, Any]) -> ContractT:
    """A contract of values that it held before, all of its fields: nothing is checked or made again.

    It is what pydantic's `model_construct` does without its look at every field, which took a third of the
    time of a page.
    """
    item = object.__new__(contract)
    _set(item, "__dict__", values)
    _set(item, "__pydantic_fields_set__", set(values))
    _set(item, "__pydantic_extra__", None)
    _set(item, "__pydantic_private__", None)
    return item


def _parts(connection: Connection, child: Child, numbers: Sequence[int]) -> dict[int, list[Any]]:
    parts: dict[int, list[Any]] = defaultdict(list)
    if len(numbers) == 1:
        found = connection.execute(child.of_one, {"parent": numbers[0]})
    else:
        asked = {"these": these(connection, numbers)}
        found = connection.execute(_of_many(child, is_sqlite(connection)), asked)
    for number, *values in found:
        parts[number].append(as_it_was(child.contract, dict(zip(child.columns, values, strict=True))))
    return parts


@cache
def _of_many(child: Child, sqlite: bool) -> Select[Any]:
    """The parts of all of `these` parents."""
    return child.selection.where(among_these(sqlite, child.table.c[child.parent]))


def _item(kind: Kind[ItemT], row: RowMapping, parts: dict[str, dict[int, list[Any]]]) -> ItemT:
    values = {name: row[name] for name in kind.columns}
    for name, of_parent in parts.items():
        values[name] = tuple(of_parent.get(row["pk"], ()))
    if kind.counts_revisions:
        values[REVISION] = row[REVISION]
    return as_it_was(kind.contract, values)


def stored(kind: Kind[ItemT], row: RowMapping, item: ItemT) -> Stored[ItemT]:
    """An item with what the store says of it."""
    shown = {name: row[name] for name in kind.shown}
    said = {"item": item, "version": row["version"], "updated_at": row["updated_at"], **shown}
    return as_it_was(kind.stored, said)


def first(found: Iterable[Many]) -> Many | None:
    """The first, if there is one."""
    return next(islice(found, 1), None)
