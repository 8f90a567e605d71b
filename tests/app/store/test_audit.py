"""Whoever changes something is in the audit, with what it was and what it became."""

from __future__ import annotations

from typing import Any

import pytest

from app.contracts.people import AuditEntry
from app.errors import BadInput
from app.store import audit, records
from app.store.audit import Change
from app.store.kinds import JOBS, ROLLS
from app.store.listing import Query
from app.store.store import Store
from tests.app.store.things import ANN, ELSEWHERE, MIS, job, roll


def entries(store: Store, **filters: Any) -> list[AuditEntry]:
    """The latest first."""
    with store.reading("here") as view:
        return list(audit.entries(view, Query(filters=filters)).items)


def test_every_change_tells_who_when_and_from_what_to_what(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, [job(revision=1)])
    with store.writing(ANN) as work:
        records.upsert(work, JOBS, [job(revision=2, quantity=7)])
        records.remove(work, JOBS, "J-1")
    removed, updated, created = entries(store, resource="jobs")
    assert [entry.action for entry in (created, updated, removed)] == ["created", "updated", "removed"]
    assert (created.actor, created.request_id, created.key) == ("MIS", "request-1", "J-1")
    assert (updated.actor, updated.request_id) == ("Ann", None)
    assert created.at < updated.at == removed.at
    assert created.before is None
    assert created.after is not None
    assert created.after["versions"][0]["quantity"] == 5000
    assert created.after["revision"] == 1
    assert created.after["status"] == "open"
    assert updated.before == created.after
    assert updated.after is not None
    assert updated.after["versions"][0] == {"version": "A", "quantity": 7, "overs_pct": 2.5}
    assert removed.before == updated.after
    assert removed.after is None


def test_what_changes_nothing_or_is_refused_leaves_no_trace(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, [job(revision=2)])
        records.upsert(work, JOBS, [job(revision=2), job(revision=1)], each=True)
    assert [entry.action for entry in entries(store, resource="jobs")] == ["created"]


def test_what_the_audit_does_not_know_is_read_from_the_rows(store: Store) -> None:
    """A thing that came by another way than a change has a before all the same."""
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll(length_m=10)])
        audit.record(work, "rolls", [Change(audit.Action.REMOVED, "R-1", "{}", None)])
        records.upsert(work, ROLLS, [roll(length_m=20)])
    latest = entries(store, resource="rolls", key="R-1")[0]
    assert latest.before is not None
    assert latest.before["length_m"] == 10


def test_a_thing_made_again_does_not_take_an_old_life_for_its_before(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll(length_m=10)])
        records.remove(work, ROLLS, "R-1")
        records.upsert(work, ROLLS, [roll(length_m=20)])
        records.upsert(work, ROLLS, [roll(length_m=30)])
    updated, created = entries(store, resource="rolls")[:2]
    assert created.before is None
    assert updated.before == created.after


def test_entries_are_listed_by_page_the_latest_first(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll(f"R-{number}") for number in range(5)])
    seen: list[str] = []
    cursor = None
    with store.reading("here") as view:
        while True:
            page = audit.entries(view, Query(filters={"resource": "rolls"}, cursor=cursor, limit=2))
            seen += [entry.key for entry in page.items]
            cursor = page.next_cursor
            if cursor is None:
                break
    assert seen == ["R-4", "R-3", "R-2", "R-1", "R-0"]


def test_entries_are_of_the_plant_that_asks(store: Store) -> None:
    with store.writing(ELSEWHERE) as work:
        records.upsert(work, JOBS, [job()])
    assert entries(store, resource="jobs") == []


def test_an_unknown_filter_is_refused_with_those_there_are(store: Store) -> None:
    with pytest.raises(BadInput, match="should be one of: resource, key, actor, since, until"):
        entries(store, colour="red")
