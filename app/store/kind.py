"""What the store must know of a resource to keep it: its contract, its tables, how it is looked for."""

from __future__ import annotations

import hashlib
import json
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, Select, Table, bindparam, select

from app.contracts.base import Contract
from app.contracts.stored import Stored
from app.store.columns import UtcTime
from app.store.folding import fold
from app.store.tables.base import DIGEST_LENGTH

ItemT = TypeVar("ItemT", bound=Contract)

REVISION = "revision"
_NOT_CONTENT = {REVISION}


@dataclass(frozen=True)
class Child:
    """A table of parts of an item, in their order: the versions of a job.

    Parameters
    ----------
    field
        The item's field, a tuple of contracts.
    parent
        Column that holds the item's number.
    """

    field: str
    contract: type[Contract]
    table: Table
    parent: str

    @cached_property
    def columns(self) -> tuple[str, ...]:
        return tuple(self.contract.model_fields)

    @cached_property
    def selection(self) -> Select[Any]:
        """The parent's number and the part's fields, in the order of the parts."""
        parent = self.table.c[self.parent]
        columns = (self.table.c[name] for name in self.columns)
        return select(parent, *columns).order_by(parent, self.table.c.position)

    @cached_property
    def of_one(self) -> Select[Any]:
        """The same of one `parent`."""
        return self.selection.where(self.table.c[self.parent] == bindparam("parent"))


@dataclass(frozen=True)
class Filter:
    """A condition on a column, with the value that is asked for."""

    column: str
    compare: Callable[[Any, Any], Any] = operator.eq
    folded: bool = False

    def on(self, table: Table, value: Any) -> ColumnElement[bool]:
        condition: ColumnElement[bool] = self.compare(
            table.c[self.column], fold(value) if self.folded else value
        )
        return condition


@dataclass(frozen=True)
class Kind(Generic[ItemT]):
    """A resource.

    Parameters
    ----------
    name
        As people and addresses call it, in the plural.
    key
        Field of the contract that names an item.
    folded
        Columns that a search reads, each with the field that it is made of.
    kept
        Columns that are no part of the item, with what they hold at first; `shown` are those that its reader
        sees beside it.
    filters, sorts
        By the names under which they are asked for.
    searched
        Folded columns: those who match the first come first.
    unlisted
        Columns that are too large to be read with every row.
    raises_setup
        Whether a change makes what was worked out of the plant out of date.
    """

    name: str
    contract: type[ItemT]
    stored: type[Stored[ItemT]]
    table: Table
    key: str
    children: tuple[Child, ...] = ()
    folded: Mapping[str, str] = field(default_factory=dict)
    kept: Mapping[str, Any] = field(default_factory=dict)
    shown: tuple[str, ...] = ()
    filters: Mapping[str, Filter] = field(default_factory=dict)
    sorts: Mapping[str, str] = field(default_factory=dict)
    searched: tuple[str, ...] = ()
    raises_setup: bool = False
    unlisted: frozenset[str] = frozenset()

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Fields that have a column of their own."""
        nested = {child.field for child in self.children}
        return tuple(name for name in self.contract.model_fields if name not in nested | _NOT_CONTENT)

    @cached_property
    def selection(self) -> Select[Any]:
        """What is read of every row; made once, since every column of it takes its time."""
        return select(*(column for column in self.table.c if column.key not in self.unlisted))

    @cached_property
    def one(self) -> Select[Any]:
        """What is read of the row of one key, `key` of `plant`."""
        table = self.table
        here = table.c.plant_pk == bindparam("plant"), table.c[self.key] == bindparam("key")
        return self.selection.where(*here)

    @cached_property
    def moments(self) -> tuple[str, ...]:
        """Fields that hold moments: they are kept and compared in UTC."""
        return tuple(name for name in self.columns if isinstance(self.table.c[name].type, UtcTime))

    @cached_property
    def counts_revisions(self) -> bool:
        return REVISION in self.contract.model_fields

    def key_of(self, item: ItemT) -> str:
        key: str = getattr(item, self.key)
        return key

    def content(self, item: ItemT) -> str:
        """The item as JSON without its revision: what the same content has in common."""
        return item.model_dump_json(by_alias=True, exclude=_NOT_CONTENT, exclude_none=True)


def digest(content: str) -> str:
    return hashlib.blake2b(content.encode(), digest_size=DIGEST_LENGTH // 2).hexdigest()


def audited(content: str, revision: int | None, shown: Mapping[str, Any]) -> str:
    """An item as the audit shows it: its JSON with its revision and what is shown beside it."""
    beside = dict(shown) if revision is None else {REVISION: revision, **shown}
    return f"{json.dumps(beside)[:-1]},{content[1:]}" if beside else content
