"""Planning requests as people ask for them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import DBAPIError

from app.contracts.planning_requests import EventKind, NewPlanningRequest, Priority, RequestStatus
from app.errors import BadInput, Conflict, NotStored
from app.store import audit, claims, requests, sequences
from app.store.claims import Ended
from app.store.listing import Query
from app.store.store import Store
from app.store.tables import Base
from tests.app.store.planning_requests import (
    FAILED,
    RUN_OUT,
    SUPERVISOR,
    as_worker,
    claimed,
    enqueue,
    finish,
    planning_input,
    request,
)
from tests.app.store.things import ANN, ELSEWHERE


def kinds(store: Store, id: str, number: int = 0) -> list[EventKind]:
    with store.reading("here") as view:
        return [event.kind for event in requests.events_after(view, id, number)]


def ended(store: Store, id: str, end: Ended) -> None:
    """Let a request run and end."""
    claim = claimed(store)
    assert claim.id == id
    with store.writing(as_worker(claim)) as work:
        assert claims.finish(work, claim, end)


def test_a_request_comes_back_as_it_was_asked(store: Store) -> None:
    new = request("R-1", Priority.RUSH)
    with store.writing(ANN) as work:
        made = requests.enqueue(work, new)
    with store.reading("here") as view:
        assert requests.read(view, "R-1") == made
        assert requests.planning_input(view, "R-1") == planning_input()
        assert requests.reasons(view, "R-1") is None
        assert requests.incumbent(view, "R-1") is None
    assert (made.status, made.attempt, made.attempts_left) == (RequestStatus.QUEUED, 0, 3)
    assert (made.asked, made.digest, made.notes) == (new.asked, new.digest, new.notes)
    assert (made.created_by, made.started_at, made.ended_at, made.worker) == ("Ann", None, None, None)
    assert kinds(store, "R-1") == [EventKind.QUEUED]


def test_a_request_that_comes_twice_is_queued_once(store: Store) -> None:
    with store.writing(ANN) as work:
        made = requests.enqueue(work, request("R-1"))
        assert requests.enqueue(work, request("R-1")) == made
    assert kinds(store, "R-1") == [EventKind.QUEUED]


@pytest.mark.parametrize("changed", [{"digest": "0" * 64}, {"asked": NewPlanningRequest(name="Tuesday")}])
def test_another_request_of_the_same_id_is_refused(store: Store, changed: dict[str, object]) -> None:
    enqueue(store, "R-1")
    other = replace(request("R-1"), **changed)  # type: ignore[arg-type]  # fields of a NewRequest by name
    with pytest.raises(Conflict, match="something else"), store.writing(ANN) as work:
        requests.enqueue(work, other)


def test_a_request_that_may_never_begin_is_no_request() -> None:
    with pytest.raises(ValueError, match="at least once"):
        request("R-1", attempts=0)


def test_requests_of_another_plant_are_not_seen(store: Store) -> None:
    enqueue(store, "R-1")
    with store.writing(ELSEWHERE) as work:
        for ask in (requests.read, requests.reasons, requests.planning_input, requests.incumbent):
            with pytest.raises(NotStored, match="planning-requests has no “R-1”"):
                ask(work, "R-1")
        for act in (requests.cancel, requests.resend, requests.remove):
            with pytest.raises(NotStored):
                act(work, "R-1")
        with pytest.raises(NotStored):
            requests.events_after(work, "R-1", 0)
        assert requests.listed(work, Query()).items == ()


def test_lists_begin_with_the_newest_and_go_on_page_by_page(store: Store) -> None:
    enqueue(store, *(f"R-{number}" for number in range(5)))
    with store.reading("here") as view:
        first = requests.listed(view, Query(limit=3))
        rest = requests.listed(view, Query(limit=3, cursor=first.next_cursor))
    assert [found.id for found in (*first.items, *rest.items)] == ["R-4", "R-3", "R-2", "R-1", "R-0"]
    assert rest.next_cursor is None


def test_lists_are_filtered(store: Store) -> None:
    with store.writing(ANN) as work:
        requests.enqueue(work, request("R-1", name="Monday"))
        requests.enqueue(work, request("R-2", Priority.RUSH, name="Monday"))
        requests.enqueue(work, request("R-3", name="Tuesday"))
        requests.cancel(work, "R-3")

    def ids(**filters: object) -> list[str]:
        with store.reading("here") as view:
            return [found.id for found in requests.listed(view, Query(filters=filters)).items]

    assert ids(name="Monday") == ["R-2", "R-1"]
    assert ids(priority=Priority.RUSH) == ["R-2"]
    assert ids(status=RequestStatus.CANCELLED) == ["R-3"]
    assert ids(status=RequestStatus.QUEUED, priority=Priority.USUAL) == ["R-1"]
    with pytest.raises(BadInput, match="status, priority, name"):
        ids(worker="w-1")


def test_one_that_waits_is_cancelled_at_once(store: Store) -> None:
    enqueue(store, "R-1")
    with store.writing(ANN) as work:
        after = requests.cancel(work, "R-1")
        assert claims.claim(work, "w-1", 1) is None
    assert after.status is RequestStatus.CANCELLED
    assert after.ended_at is not None
    assert kinds(store, "R-1") == [EventKind.QUEUED, EventKind.CANCELLED]


def test_one_that_runs_is_asked_to_end_once(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store)
    with store.writing(ANN) as work:
        first = requests.cancel(work, "R-1")
    with store.writing(ANN) as work:
        assert requests.cancel(work, "R-1") == first
    assert (first.status, first.ended_at) == (RequestStatus.RUNNING, None)
    with store.writing(as_worker(claim)) as work:
        heard = claims.beat(work, claim, 1, None, None)
    assert heard is not None
    assert heard.cancel_requested
    assert kinds(store, "R-1", 2) == [EventKind.CANCEL_REQUESTED]


OVER = {
    RequestStatus.FINISHED: Ended(RequestStatus.FINISHED),
    RequestStatus.CANCELLED: Ended(RequestStatus.CANCELLED),
    RequestStatus.FAILED: FAILED,
}


def let_die(store: Store, id: str) -> None:
    """Let a request of one attempt be lost."""
    assert claimed(store, lease_s=RUN_OUT).id == id
    with store.writing(SUPERVISOR) as work:
        assert claims.reap(work) == 1


@pytest.mark.parametrize("status", [status for status in RequestStatus if status.is_over])
def test_one_that_is_over_cannot_be_cancelled_and_may_be_removed(store: Store, status: RequestStatus) -> None:
    enqueue(store, "R-1", attempts=1)
    if status in OVER:
        ended(store, "R-1", OVER[status])
    else:
        let_die(store, "R-1")
    with store.writing(ANN) as work:
        assert requests.read(work, "R-1").status is status
        with pytest.raises(Conflict, match=f"is {status} already"):
            requests.cancel(work, "R-1")
        requests.remove(work, "R-1")
        with pytest.raises(NotStored):
            requests.read(work, "R-1")


@pytest.mark.parametrize("running", [False, True])
def test_one_that_is_not_over_cannot_be_removed_or_sent_again(store: Store, running: bool) -> None:
    enqueue(store, "R-1")
    if running:
        claimed(store)
    with store.writing(ANN) as work:
        with pytest.raises(Conflict, match="cancel it"):
            requests.remove(work, "R-1")
        with pytest.raises(Conflict, match="failed or dead"):
            requests.resend(work, "R-1")


@pytest.mark.parametrize("status", [RequestStatus.FINISHED, RequestStatus.CANCELLED])
def test_one_that_ended_well_is_not_sent_again(store: Store, status: RequestStatus) -> None:
    enqueue(store, "R-1")
    ended(store, "R-1", Ended(status))
    with pytest.raises(Conflict, match=f"is {status}"), store.writing(ANN) as work:
        requests.resend(work, "R-1")


def test_one_that_failed_or_died_is_sent_again_with_all_its_attempts(store: Store) -> None:
    """Whether somebody wanted it to end or not: now it is wanted."""
    enqueue(store, "R-1", "R-2", attempts=1)
    claim = claimed(store)
    with store.writing(ANN) as work:
        requests.cancel(work, "R-1")
    with store.writing(as_worker(claim)) as work:
        assert claims.finish(work, claim, FAILED)
    let_die(store, "R-2")
    with store.writing(ANN) as work:
        again = [requests.resend(work, id) for id in ("R-1", "R-2")]
    for sent in again:
        assert (sent.status, sent.attempts_left, sent.attempt) == (RequestStatus.QUEUED, 1, 1)
        assert (sent.problem, sent.ended_at, sent.cancel_requested_at) == (None, None, None)
        assert kinds(store, sent.id)[-1] is EventKind.QUEUED
    assert claimed(store).attempt == 2


def test_a_removed_request_leaves_its_sequences_and_nothing_else(store: Store) -> None:
    enqueue(store, "R-1", "R-2")
    claim = claimed(store)
    with store.writing(as_worker(claim)) as work:
        finish(work, claim)
    with store.writing(ANN) as work:
        result = requests.read(work, "R-1").result
        requests.remove(work, "R-1")
        assert result is not None
        assert sequences.read(work, result.sequence).head.item.name == "Monday"
        for name in ("planning_requests", "request_inputs", "request_events"):
            left = select(func.count()).select_from(Base.metadata.tables[name])
            assert work.connection.execute(left).scalar_one() == 1, name


def test_what_people_do_is_audited(store: Store) -> None:
    enqueue(store, "R-1")
    with store.writing(ANN) as work:
        requests.cancel(work, "R-1")
        requests.remove(work, "R-1")
    with store.reading("here") as view:
        told = audit.entries(view, Query(filters={"resource": "planning-requests"})).items
    removed, cancelled, created = told
    assert [entry.action for entry in told] == ["removed", "cancelled", "created"]
    assert {(entry.actor, entry.key) for entry in told} == {("Ann", "R-1")}
    assert created.after is not None
    assert created.after["asked"]["name"] == "Monday"
    assert cancelled.before is not None
    assert cancelled.after is not None
    assert (cancelled.before["status"], cancelled.after["status"]) == ("queued", "cancelled")
    assert removed.after is None


def test_what_happened_is_never_changed(store: Store) -> None:
    enqueue(store, "R-1")
    with pytest.raises(DBAPIError, match="never changed"), store.engine.begin() as connection:
        connection.execute(text("UPDATE request_events SET told = 'something else'"))
