"""Things with an external key: written one by one or thousands at once, read, removed, listed.

The way of thousands knows no mapped objects: one look at what is there, and a few statements for blocks of
rows. Every change leaves its before and after in the audit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from sqlalchemy import Select, bindparam, delete, select, update

from app.contracts.stored import Done, Outcome, Page, Refusal, Stored
from app.errors import Fault, NotStored, OlderRevision, VersionConflict
from app.store import audit
from app.store.audit import Action, Change
from app.store.engine import is_sqlite
from app.store.kind import REVISION, ItemT, Kind, audited, digest
from app.store.listing import Query, kind_stretches, page_of
from app.store.many_rows import insert_new, insert_rows, update_rows
from app.store.rows import (
    Row,
    among,
    among_these,
    child_rows,
    in_utc,
    item_of,
    items_of,
    items_where,
    new_numbers,
    row_of,
    stored,
    these,
)
from app.store.store import View, Work

NOTHING: Mapping[str, Any] = MappingProxyType({})
_SENT_TWICE = "should be sent once: it is there further up"


@dataclass(frozen=True, slots=True)
class _There:
    """What is stored under a key."""

    pk: int
    revision: int | None
    version: int
    digest: str
    shown: Mapping[str, Any]


@dataclass(slots=True)
class _Step:
    """What is to be done with one item."""

    key: str
    item: Any
    done: Done
    there: _There | None = None
    revision: int | None = None
    content: str = ""
    digest: str = ""
    note: str | None = None
    fault: Fault | None = None
    pk: int = 0

    @property
    def version(self) -> int | None:
        if self.done is Done.CREATED:
            return 1
        if self.there is None:
            return None
        return self.there.version + (self.done is Done.UPDATED)

    def json(self, kind: Kind[Any]) -> str:
        """What the audit says of it after the step."""
        shown = self.there.shown if self.there else {name: kind.kept[name] for name in kind.shown}
        return audited(self.content, self.revision, shown)

    @property
    def outcome(self) -> Outcome:
        return Outcome(
            key=self.key, done=self.done, version=self.version, note=self.note, errors=_refusals(self.fault)
        )


def upsert(work: Work, kind: Kind[ItemT], items: Sequence[ItemT], *, each: bool = False) -> list[Outcome]:
    """Store items, each under its key: made if it is new, changed if it is another.

    Parameters
    ----------
    each
        True: an item that is refused keeps no other back.

    Raises
    ------
    OlderRevision
        If not `each` and any is refused: a newer revision is stored, or the key is sent twice.
    """
    keys = [kind.key_of(item) for item in items]
    _hold(work, kind, keys)
    steps = _steps(kind, keys, items, _there(work, kind, keys))
    faults = [step.fault for step in steps if step.fault is not None]
    if faults and not each:
        raise OlderRevision(faults)
    _write(work, kind, steps)
    return [step.outcome for step in steps]


def create(work: Work, kind: Kind[ItemT], item: ItemT) -> Stored[ItemT]:
    """Store an item that is not there yet, with as few ways to the database as can be.

    Raises
    ------
    VersionConflict
        If it is there.
    """
    if kind.raises_setup:
        work.hold_setup()
    key = kind.key_of(item)
    (step,) = _steps(kind, [key], [item], {})
    number = insert_new(work.connection, kind.table, ("plant_pk", kind.key), _new_row(work, kind, step))
    if number is None:
        raise VersionConflict(kind.name, key, None, _there(work, kind, [key])[key].version)
    step.pk = number
    _insert_children(work, kind, [step])
    audit.record(work, kind.name, [Change(Action.CREATED, key, None, step.json(kind))])
    if kind.raises_setup:
        work.raise_setup()
    return _now(work, kind, step)


def replace(work: Work, kind: Kind[ItemT], item: ItemT, if_version: int | None) -> Stored[ItemT]:
    """Store an item if what is there is still of a version; None: if nothing is there.

    Raises
    ------
    VersionConflict
        If it is not.
    OlderRevision
        If a newer revision of its sender is stored.
    """
    key = kind.key_of(item)
    _hold(work, kind, [key])
    there = _there(work, kind, [key])
    _require(kind, key, if_version, there.get(key))
    (step,) = _steps(kind, [key], [item], there)
    if step.fault is not None:
        raise OlderRevision([step.fault])
    _write(work, kind, [step])
    return _now(work, kind, step)


def _now(work: Work, kind: Kind[ItemT], step: _Step) -> Stored[ItemT]:
    """What is stored after a step, which need not be read again."""
    if step.done is Done.UNCHANGED:
        return require(work, kind, step.key)
    shown = {name: kind.kept[name] for name in kind.shown} if step.there is None else step.there.shown
    item = step.item
    if kind.counts_revisions and step.revision != getattr(item, REVISION):
        item = item.model_copy(update={REVISION: step.revision})
    told: dict[str, Any] = {"item": item, "version": step.version, "updated_at": work.at, **shown}
    return kind.stored.model_construct(**told)


def remove(work: Work, kind: Kind[ItemT], key: str, if_version: int | None = None) -> None:
    """Remove an item, if it is still of a version where one is named.

    Raises
    ------
    NotStored
        If there is none.
    VersionConflict
        If it is of another version.
    """
    _hold(work, kind, [key])
    found = read(work, kind, key)
    if found is None:
        raise NotStored(kind.name, key)
    if if_version is not None and found.version != if_version:
        raise VersionConflict(kind.name, key, if_version, found.version)
    table = kind.table
    work.connection.execute(delete(table).where(table.c.plant_pk == work.plant, table.c[kind.key] == key))
    audit.record(work, kind.name, [Change(Action.REMOVED, key, json_of(kind, found), None)])
    if kind.raises_setup:
        work.raise_setup()


def make_so(work: Work, kind: Kind[ItemT], items: Sequence[ItemT]) -> list[Outcome]:
    """Store items, and remove all others of the plant: afterwards there is what was sent and nothing else.

    Raises
    ------
    OlderRevision
        As `upsert` all or nothing does.
    """
    table = kind.table
    outcomes = upsert(work, kind, items)
    sent = {outcome.key for outcome in outcomes}
    every = select(table.c.pk, table.c[kind.key]).where(table.c.plant_pk == work.plant).order_by(table.c.pk)
    gone = {pk: key for pk, key in work.connection.execute(every) if key not in sent}
    if gone:
        going = among(work.connection, table.c.pk, list(gone))
        found = items_where(work.connection, kind, going)
        removed = [
            Change(Action.REMOVED, kind.key_of(item), json_of(kind, stored(kind, row, item)), None)
            for row, item in found
        ]
        work.connection.execute(delete(table).where(going))
        audit.record(work, kind.name, removed)
        if kind.raises_setup:
            work.raise_setup()
    return outcomes


def set_kept(
    work: Work,
    kind: Kind[ItemT],
    key: str,
    values: Mapping[str, Any],
    action: Action = Action.UPDATED,
    *,
    if_version: int | None = None,
    revision: int | None = None,
) -> Stored[ItemT]:
    """Change columns that are kept beside an item, such as a job's status. With a revision that is stored
    already, or where everything is so already, nothing is changed.

    Raises
    ------
    NotStored
        If there is no such item.
    VersionConflict
        If it is of another version than is named.
    OlderRevision
        If a newer revision is stored.
    """
    _hold(work, kind, [key])
    found = require(work, kind, key)
    if if_version is not None and found.version != if_version:
        raise VersionConflict(kind.name, key, if_version, found.version)
    stored_revision: int | None = getattr(found.item, REVISION, None)
    if revision is not None and stored_revision is not None:
        if revision < stored_revision:
            raise OlderRevision([_older(revision, stored_revision, REVISION)])
        if revision == stored_revision:
            return found
    here = kind.table.c.plant_pk == work.plant, kind.table.c[kind.key] == key
    now = work.connection.execute(select(*(kind.table.c[name] for name in values)).where(*here)).one()
    if tuple(now) == tuple(values.values()) and revision is None:
        return found
    counted = {"version": found.version + 1, "updated_at": work.at}
    if revision is not None:
        counted[REVISION] = revision
    work.connection.execute(update(kind.table).where(*here).values({**values, **counted}))
    changed = require(work, kind, key)
    told = {name: value for name, value in values.items() if name not in kind.shown}
    after = json_of(kind, changed, told)
    audit.record(work, kind.name, [Change(action, key, json_of(kind, found), after)])
    return changed


def read(view: View, kind: Kind[ItemT], key: str) -> Stored[ItemT] | None:
    """An item, or None if there is none."""
    found = item_of(view.connection, kind, view.plant, key)
    return None if found is None else stored(kind, *found)


def require(view: View, kind: Kind[ItemT], key: str) -> Stored[ItemT]:
    """An item.

    Raises
    ------
    NotStored
        If there is none.
    """
    found = read(view, kind, key)
    if found is None:
        raise NotStored(kind.name, key)
    return found


def read_all(view: View, kind: Kind[ItemT]) -> list[ItemT]:
    """All items of the plant, in the order in which they came."""
    found = items_where(view.connection, kind, kind.table.c.plant_pk == view.plant)
    return [item for _, item in found]


def listed(view: View, kind: Kind[ItemT], query: Query) -> Page[Any]:
    """A page of a list of `kind.stored`.

    Raises
    ------
    BadInput
        If the kind has no such filter or sort, or the cursor is none of this list.
    """
    rows, following = page_of(
        view.connection, kind.selection, kind.table, view.plant, kind_stretches(kind, query), query
    )
    items = tuple(stored(kind, row, item) for row, item in items_of(view.connection, kind, rows))
    return Page.model_construct(items=items, next_cursor=following)


def json_of(kind: Kind[ItemT], found: Stored[ItemT], told: Mapping[str, Any] = NOTHING) -> str:
    """What is stored, as the audit shows it, and what else is to be told of it."""
    shown = {**{name: getattr(found, name) for name in kind.shown}, **told}
    return audited(kind.content(found.item), getattr(found.item, REVISION, None), shown)


def _hold(work: Work, kind: Kind[Any], keys: list[str]) -> None:
    if kind.raises_setup:
        work.hold_setup()
    else:
        work.hold(kind.name, keys)


def _there(view: View, kind: Kind[ItemT], keys: Sequence[str]) -> dict[str, _There]:
    statement = _statement(kind, len(keys) == 1, is_sqlite(view.connection))
    asked = {"key": keys[0]} if len(keys) == 1 else {"these": these(view.connection, keys)}
    return {
        found: _There(pk, revision, version, content, dict(zip(kind.shown, shown, strict=True)))
        for found, pk, revision, version, content, *shown in view.connection.execute(
            statement, {"plant": view.plant, **asked}
        )
    }


_STATEMENTS: dict[tuple[str, bool, bool], Select[Any]] = {}


def _statement(kind: Kind[Any], single: bool, sqlite: bool) -> Select[Any]:
    """What is stored under one key or many of a kind; made once, since making it takes longer than asking."""
    made = _STATEMENTS.get((kind.name, single, sqlite))
    if made is None:
        table = kind.table
        key = table.c[kind.key]
        names = ("pk", "revision", "version", "digest", *kind.shown)
        these_keys = key == bindparam("key") if single else among_these(sqlite, key)
        made = select(key, *(table.c[name] for name in names)).where(
            table.c.plant_pk == bindparam("plant"), these_keys
        )
        _STATEMENTS[kind.name, single, sqlite] = made
    return made


def _require(kind: Kind[ItemT], key: str, if_version: int | None, there: _There | None) -> None:
    current = there.version if there else None
    if current != if_version:
        raise VersionConflict(kind.name, key, if_version, current)


def _steps(
    kind: Kind[ItemT], keys: Sequence[str], items: Sequence[ItemT], there: dict[str, _There]
) -> list[_Step]:
    """What is to be done with each item; nothing is written yet."""
    steps, seen = [], set[str]()
    for number, (key, sent) in enumerate(zip(keys, items, strict=True)):
        if key in seen:
            fault = Fault(_SENT_TWICE, field=f"items[{number}].{kind.key}", value=key)
            steps.append(_Step(key, sent, Done.REFUSED, fault=fault))
            continue
        seen.add(key)
        steps.append(_step(kind, number, key, sent, there.get(key)))
    return steps


def _step(kind: Kind[ItemT], number: int, key: str, sent: ItemT, there: _There | None) -> _Step:
    item = in_utc(kind, sent)
    content = kind.content(item)
    revision: int | None = getattr(item, REVISION, None)
    step = _Step(key, item, Done.CREATED, there, revision, content, digest(content))
    if there is None:
        return step
    if revision is None or there.revision is None:
        same = step.digest == there.digest and revision is None
        step.done = Done.UNCHANGED if same else Done.UPDATED
        step.revision = there.revision if revision is None else revision
    elif revision < there.revision:
        step.done = Done.REFUSED
        step.fault = _older(revision, there.revision, f"items[{number}].{REVISION}")
    elif revision == there.revision:
        step.done = Done.UNCHANGED
        if step.digest != there.digest:
            step.note = f"revision {revision} is stored with another content, which was kept"
    else:
        step.done = Done.UPDATED
    return step


def _older(revision: int, stored_revision: int, field: str) -> Fault:
    right = f"should be above {stored_revision}, which is stored: revision {revision} is older"
    return Fault(right, field=field, value=str(revision))


def _refusals(fault: Fault | None) -> tuple[Refusal, ...]:
    if fault is None:
        return ()
    return (Refusal(field=fault.field, value=fault.value, right=fault.right),)


def _write(work: Work, kind: Kind[ItemT], steps: Sequence[_Step]) -> None:
    made = [step for step in steps if step.done is Done.CREATED]
    changed = [step for step in steps if step.done is Done.UPDATED]
    if not made and not changed:
        return
    before = _json_before(work, kind, changed)
    if made:
        _insert(work, kind, made)
    if changed:
        _update(work, kind, changed)
    _insert_children(work, kind, [*made, *changed])
    changes = [
        Change(
            Action.CREATED if step.there is None else Action.UPDATED,
            step.key,
            before.get(step.key),
            step.json(kind),
        )
        for step in steps
        if step.pk
    ]
    audit.record(work, kind.name, changes)
    if kind.raises_setup:
        work.raise_setup()


def _json_before(work: Work, kind: Kind[ItemT], changed: Sequence[_Step]) -> dict[str, str]:
    """What is there before it is changed, by key: what the audit said last, which knows every change; of what
    it does not know, what the rows say.
    """
    if not changed:
        return {}
    before = audit.last_known(work, kind.name, [step.key for step in changed])
    unknown = [step.there.pk for step in changed if step.key not in before and step.there is not None]
    if unknown:
        of_these = among(work.connection, kind.table.c.pk, unknown)
        for row, item in items_where(work.connection, kind, of_these):
            before[kind.key_of(item)] = json_of(kind, stored(kind, row, item))
    return before


def _insert(work: Work, kind: Kind[ItemT], made: Sequence[_Step]) -> None:
    numbers = new_numbers(work.connection, kind.table, len(made))
    rows: list[Row] = []
    for step, pk in zip(made, numbers, strict=True):
        step.pk = pk
        rows.append({**_new_row(work, kind, step), "pk": pk})
    insert_rows(work.connection, kind.table, rows)


def _new_row(work: Work, kind: Kind[ItemT], step: _Step) -> Row:
    """The row of an item that was not there, but for its number."""
    row = row_of(kind, step.item)
    row.update(
        plant_pk=work.plant,
        version=1,
        created_at=work.at,
        updated_at=work.at,
        revision=step.revision,
        digest=step.digest,
        **kind.kept,
    )
    return row


def _update(work: Work, kind: Kind[ItemT], changed: Sequence[_Step]) -> None:
    rows: list[Row] = []
    for step in changed:
        if step.there is not None:
            step.pk = step.there.pk
        row = row_of(kind, step.item)
        row.update(
            revision=step.revision,
            digest=step.digest,
            version=step.version,
            updated_at=work.at,
            pk=step.pk,
        )
        rows.append(row)
    update_rows(work.connection, kind.table, rows)
    numbers = [step.pk for step in changed]
    for child in kind.children:
        of_these = among(work.connection, child.table.c[child.parent], numbers)
        work.connection.execute(delete(child.table).where(of_these))


def _insert_children(work: Work, kind: Kind[ItemT], steps: Sequence[_Step]) -> None:
    for child in kind.children:
        rows = [row for step in steps for row in child_rows(child, step.item, step.pk)]
        insert_rows(work.connection, child.table, rows)
