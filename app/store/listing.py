"""Lists, page by page.

A page begins where the one before ended, by the values of its last row and not by a count: whatever is added
or removed meanwhile, no row comes twice and none that stayed is missed. Every order that can be asked for is
that of an index, so that a page costs the same at the beginning and at the end of a long list.
"""

from __future__ import annotations

import operator
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, RowMapping, Select, Table, literal, not_, tuple_

from app.contracts.cursors import Cursor, read_cursor
from app.contracts.stored import USUAL_PAGE
from app.errors import BadInput, Fault
from app.store.columns import UtcTime
from app.store.folding import behind, fold
from app.store.kind import ItemT, Kind

BACKWARDS = "-"
"""Before the name of a sort: the last first."""


@dataclass(frozen=True, slots=True)
class Query:
    """What is to be listed.

    Parameters
    ----------
    filters
        Values by the names of the kind's filters.
    sort
        A name of the kind's sorts, `-` before it for the last first; None: by what is asked for from or
        before a value, else by key. Rows without a value come last either way. A search has its own order.
    prefix
        How what is searched begins, in capital or small letters.
    cursor
        What the page before said of the next.
    """

    filters: Mapping[str, Any] = field(default_factory=dict)
    sort: str | None = None
    prefix: str | None = None
    cursor: str | None = None
    limit: int = USUAL_PAGE


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a list that one index gives in order."""

    where: tuple[ColumnElement[bool], ...]
    order: tuple[Column[Any], ...]
    backwards: bool = False

    def after(self, values: Sequence[Any]) -> ColumnElement[bool]:
        """Behind the row of these values."""
        here = tuple_(*self.order)
        there = tuple_(
            *(literal(value, column.type) for value, column in zip(values, self.order, strict=True))
        )
        return here < there if self.backwards else here > there


def kind_stretches(kind: Kind[ItemT], query: Query) -> tuple[Stretch, ...]:
    """How a kind is listed.

    Raises
    ------
    BadInput
        If it has no such filter or sort.
    """
    conditions = tuple(_condition(kind, name, value) for name, value in query.filters.items())
    if query.prefix is not None:
        if query.sort is not None:
            raise BadInput([Fault("should be left out beside search, which has its own order", field="sort")])
        return tuple(_search_stretches(kind, fold(query.prefix), conditions))
    filtered = {kind.filters[name].column for name in query.filters}
    return tuple(_sorted_stretches(kind, query.sort or _usual_sort(kind, query), conditions, filtered))


def _usual_sort(kind: Kind[ItemT], query: Query) -> str:
    """The order in which what is asked for lies side by side: all that is due from then on is read in the
    order of due times, where by key all of it would have to be sorted for one page.
    """
    sorts = {column: name for name, column in kind.sorts.items()}
    filters = (kind.filters[name] for name in query.filters)
    ranges = (sorts.get(each.column) for each in filters if each.compare is not operator.eq)
    return next((name for name in ranges if name is not None), kind.key)


def _condition(kind: Kind[ItemT], name: str, value: Any) -> ColumnElement[bool]:
    if name not in kind.filters:
        raise BadInput([Fault(f"should be one of: {', '.join(kind.filters)}", field=name)])
    return kind.filters[name].on(kind.table, value)


def _sorted_stretches(
    kind: Kind[ItemT], sort: str, conditions: tuple[ColumnElement[bool], ...], filtered: Collection[str]
) -> Sequence[Stretch]:
    """One stretch, and one for rows without a value where there may be any: none of a filtered column."""
    name, backwards = sort.removeprefix(BACKWARDS), sort.startswith(BACKWARDS)
    key: Column[Any] = kind.table.c[kind.key]
    if name == kind.key:
        return [Stretch(conditions, (key,), backwards)]
    if name not in kind.sorts:
        known = ", ".join((kind.key, *kind.sorts))
        right = f"should be one of: {known}; with - before it for the last first"
        raise BadInput([Fault(right, field="sort", value=sort)])
    column: Column[Any] = kind.table.c[kind.sorts[name]]
    if not column.nullable or column.key in filtered:
        return [Stretch(conditions, (column, key), backwards)]
    return [
        Stretch((*conditions, column.is_not(None)), (column, key), backwards),
        Stretch((*conditions, column.is_(None)), (key,), backwards),
    ]


def _search_stretches(
    kind: Kind[ItemT], prefix: str, conditions: tuple[ColumnElement[bool], ...]
) -> Sequence[Stretch]:
    """One stretch a searched column, each without what those before have found."""
    stretches: list[Stretch] = []
    found: tuple[ColumnElement[bool], ...] = ()
    for name in kind.searched:
        column: Column[Any] = kind.table.c[name]
        begins = _begins(column, prefix)
        others = tuple(not_(condition) for condition in found)
        stretches.append(Stretch((*conditions, begins, *others), (column, kind.table.c[kind.key])))
        found = (*found, begins)
    return stretches


def _begins(column: Column[Any], prefix: str) -> ColumnElement[bool]:
    end = behind(prefix)
    begins: ColumnElement[bool] = column >= prefix
    return begins if end is None else begins & (column < end)


def page_of(
    connection: Connection,
    selection: Select[Any],
    table: Table,
    plant: int,
    stretches: Sequence[Stretch],
    query: Query,
) -> tuple[list[RowMapping], str | None]:
    """A page of a plant's rows, and the cursor of the next.

    Raises
    ------
    BadInput
        If the cursor is none of this list.
    """
    asked = _asked(table.name, query)
    begin, values = _place(query.cursor, asked, stretches)
    rows: list[RowMapping] = []
    for number, stretch in enumerate(stretches[begin:], begin):
        conditions = [table.c.plant_pk == plant, *stretch.where]
        if number == begin and values:
            conditions.append(stretch.after(values))
        order = [column.desc() if stretch.backwards else column.asc() for column in stretch.order]
        room = query.limit - len(rows)
        chosen = selection.where(*conditions).order_by(*order).limit(room + 1)
        found = connection.execute(chosen).mappings().all()
        rows += found[:room]
        if len(found) > room:
            last = rows[-1] if room else None
            return rows, _cursor(asked, number, stretch, last)
    return rows, None


def _asked(name: str, query: Query) -> str:
    """What a cursor belongs to: it means nothing in another list."""
    filters = sorted((name, str(value)) for name, value in query.filters.items())
    return repr((name, filters, query.sort, query.prefix))


def _cursor(asked: str, number: int, stretch: Stretch, last: RowMapping | None) -> str:
    """Behind a page's last row; at the start of a stretch of which the page has none."""
    values = [] if last is None else [last[column.key] for column in stretch.order]
    told = (value.isoformat() if isinstance(value, datetime) else value for value in values)
    return Cursor(asked, (number, *told)).text()


def _place(cursor: str | None, asked: str, stretches: Sequence[Stretch]) -> tuple[int, list[Any]]:
    """The stretch to begin with, and the values of the row to begin behind; no values: from its start."""
    if cursor is None:
        return 0, []
    after = read_cursor(cursor, asked).after
    try:
        number, *told = after
        if not isinstance(number, int) or number < 0:
            raise ValueError
        order = stretches[number].order
        return number, [_value(value, column) for value, column in zip(told, order, strict=bool(told))]
    except (ValueError, TypeError, LookupError):
        right = "should be the next cursor of this very list; leave it out to begin"
        raise BadInput([Fault(right, field="query.cursor")]) from None


def _value(told: Any, column: Column[Any]) -> Any:
    if isinstance(column.type, UtcTime):
        moment = datetime.fromisoformat(told)
        if moment.utcoffset() is None:
            raise ValueError
        return moment
    if type(told) is not column.type.python_type:
        raise ValueError
    return told
