"""The record of who changed what, written with every change in its own transaction."""

from __future__ import annotations

import json
import operator
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy import RowMapping, func, select

from app.contracts.people import AuditEntry
from app.contracts.stored import Page
from app.errors import BadInput, Fault
from app.store.kind import Filter
from app.store.listing import Query, Stretch, page_of
from app.store.many_rows import insert_rows
from app.store.rows import among
from app.store.store import View, Work
from app.store.tables import AuditRow

AUDIT = AuditRow.metadata.tables[AuditRow.__tablename__]

FILTERS = {
    "resource": Filter("resource"),
    "key": Filter("key"),
    "actor": Filter("actor"),
    "since": Filter("at", operator.ge),
    "until": Filter("at", operator.lt),
}


class Action(StrEnum):
    """What was done."""

    CREATED = "created"
    UPDATED = "updated"
    REMOVED = "removed"
    CANCELLED = "cancelled"
    REVOKED = "revoked"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that was changed, as JSON before and after."""

    action: Action
    key: str
    before: str | None
    after: str | None


def record(work: Work, resource: str, changes: Sequence[Change]) -> None:
    """Write changes of a resource into the audit."""
    if not changes:
        return
    work.changes.update(change.action.value for change in changes)
    shared = {
        "plant_pk": work.plant_or_none,
        "at": work.at,
        "actor": work.actor.name,
        "resource": resource,
        "request_id": work.actor.request_id,
    }
    rows = [
        {
            **shared,
            "action": change.action.value,
            "key": change.key,
            "before": change.before,
            "after": change.after,
        }
        for change in changes
    ]
    insert_rows(work.connection, AUDIT, rows)


def last_known(view: View, resource: str, keys: Sequence[str]) -> dict[str, str]:
    """What things are after their last change, by key; those that the audit does not know are left out."""
    named = among(view.connection, AUDIT.c.key, keys)
    these = AUDIT.c.plant_pk == view.plant, AUDIT.c.resource == resource, named
    last = select(func.max(AUDIT.c.pk)).where(*these).group_by(AUDIT.c.key)
    known = select(AUDIT.c.key, AUDIT.c.after).where(AUDIT.c.pk.in_(last))
    return {key: after for key, after in view.connection.execute(known) if after is not None}


def entries(view: View, query: Query) -> Page[AuditEntry]:
    """Changes of the plant, the latest first.

    Raises
    ------
    BadInput
        If there is no such filter, or the cursor is none of this list.
    """
    unknown = [name for name in query.filters if name not in FILTERS]
    if unknown:
        raise BadInput([Fault(f"should be one of: {', '.join(FILTERS)}", field=name) for name in unknown])
    conditions = tuple(FILTERS[name].on(AUDIT, value) for name, value in query.filters.items())
    latest_first = Stretch(conditions, (AUDIT.c.pk,), backwards=True)
    rows, following = page_of(view.connection, select(AUDIT), AUDIT, view.plant, [latest_first], query)
    return Page[AuditEntry](items=tuple(_entry(row) for row in rows), next_cursor=following)


def _entry(row: RowMapping) -> AuditEntry:
    return AuditEntry(
        id=row["pk"],
        at=row["at"],
        actor=row["actor"],
        action=row["action"],
        resource=row["resource"],
        key=row["key"],
        before=_told(row["before"]),
        after=_told(row["after"]),
        request_id=row["request_id"],
    )


def _told(text: str | None) -> dict[str, Any] | None:
    if text is None:
        return None
    told: dict[str, Any] = json.loads(text)
    return told
