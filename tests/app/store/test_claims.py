"""Planning requests as workers take them: each is one worker's, and ends once."""

from __future__ import annotations

import zlib
from dataclasses import replace

import pytest
from sqlalchemy import func, select

from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.planning_requests import EventKind, Priority, RequestStatus
from app.contracts.stored_sequences import SequenceInput
from app.store import claims, requests, sequences
from app.store.claims import Beat, Claim, Ended
from app.store.listing import Query
from app.store.store import Store
from app.store.tables import Base
from tests.app.store.planning_requests import (
    FAILED,
    LEASE_S,
    RUN_OUT,
    SUPERVISOR,
    as_worker,
    best_and_others,
    claimed,
    enqueue,
    finish,
    found,
    planning_input,
    progress,
    request,
)
from tests.app.store.test_requests import kinds
from tests.app.store.things import ANN, ELSEWHERE

ORDER = RunOrder(lines=(LineOrder(line="H1", runs=(OrderedRun(job="J-2101"),)),))


def reap(store: Store) -> int:
    with store.writing(SUPERVISOR) as work:
        return claims.reap(work)


def crash(store: Store, claim: Claim, why: str = "killed") -> bool:
    with store.writing(as_worker(claim)) as work:
        return claims.crashed(work, claim, why)


def status(store: Store, id: str = "R-1") -> RequestStatus:
    with store.reading("here") as view:
        return requests.read(view, id).status


def test_a_claim_has_all_that_a_worker_needs(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store, "w-7")
    assert (claim.id, claim.plant, claim.worker, claim.attempt) == ("R-1", "here", "w-7", 1)
    assert (claim.name, claim.limit_s, claim.state) == ("Monday", 121.5, "as it was")
    assert not claim.cancel_requested
    assert zlib.decompress(claim.input) == planning_input().model_dump_json(by_alias=True).encode()
    with store.reading("here") as view:
        shown = requests.read(view, "R-1")
    assert (shown.status, shown.worker) == (RequestStatus.RUNNING, "w-7")
    assert (shown.attempt, shown.attempts_left) == (1, 2)
    assert shown.started_at is not None
    assert shown.started_at >= shown.created_at


def test_of_the_highest_priority_the_oldest_goes_first(store: Store) -> None:
    asked = [
        ("R-1", Priority.OVERNIGHT),
        ("R-2", Priority.USUAL),
        ("R-3", Priority.RUSH),
        ("R-4", Priority.USUAL),
    ]
    for id, priority in asked:
        with store.writing(ELSEWHERE if id == "R-3" else ANN) as work:
            requests.enqueue(work, request(id, priority))
    taken = [claimed(store, f"w-{number}") for number in range(4)]
    assert [claim.id for claim in taken] == ["R-3", "R-2", "R-4", "R-1"]
    assert [claim.plant for claim in taken] == ["elsewhere", "here", "here", "here"]
    with store.writing(SUPERVISOR) as work:
        assert claims.claim(work, "w-5", LEASE_S) is None


def test_a_heartbeat_tells_how_far_it_is(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store)
    with store.writing(as_worker(claim)) as work:
        assert claims.beat(work, claim, LEASE_S, progress(20), None) == Beat(cancel_requested=False)
        assert claims.beat(work, claim, LEASE_S, progress(12), ORDER.model_dump_json().encode()) is not None
        assert claims.beat(work, claim, LEASE_S, None, None) is not None
        shown = requests.read(work, "R-1")
        assert requests.incumbent(work, "R-1") == ORDER
    assert shown.progress == progress(12).model_copy(update={"number": 2})


def test_progress_is_counted_on_from_attempt_to_attempt(store: Store) -> None:
    enqueue(store, "R-1")
    for attempt in (1, 2):
        claim = claimed(store)
        with store.writing(as_worker(claim)) as work:
            assert requests.read(work, "R-1").progress is None
            claims.beat(work, claim, LEASE_S, progress(), None)
            told = requests.read(work, "R-1").progress
        assert told is not None
        assert told.number == attempt
        crash(store, claim)


def test_what_was_found_is_kept_with_the_end(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store)
    with store.writing(as_worker(claim)) as work:
        claims.beat(work, claim, LEASE_S, progress(), ORDER.model_dump_json().encode())
        assert claims.finish(work, claim, Ended(RequestStatus.FINISHED, found()))
    with store.reading("here") as view:
        shown = requests.read(view, "R-1")
        assert shown.result is not None
        ids = [shown.result.sequence, *(other.sequence for other in shown.result.alternatives)]
        kept = [sequences.read(view, id) for id in ids]
        assert requests.incumbent(view, "R-1") is None
    assert (shown.status, shown.result.is_whole, shown.result.has_reasons) == ("finished", True, False)
    assert shown.ended_at is not None
    assert [(other.name, other.trade) for other in shown.result.alternatives] == [
        ("alternative 1", "trade 1"),
        ("alternative 2", "trade 2"),
    ]
    assert [sequence.head.item.name for sequence in kept] == [
        "Monday",
        "Monday, alternative 1",
        "Monday, alternative 2",
    ]
    assert [sequence.plan for sequence in kept] == list(best_and_others())
    source = {name: getattr(planning_input(), name) for name in SequenceInput.model_fields}
    assert [sequence.input for sequence in kept] == [SequenceInput(**source)] * 3
    assert {sequence.state for sequence in kept} == {"as it was"}
    assert kinds(store, "R-1") == [EventKind.QUEUED, EventKind.STARTED, EventKind.FINISHED]


def test_an_end_may_be_prepared_before_its_transaction(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store)
    end = claims.prepared(claim, Ended(RequestStatus.CANCELLED, found(is_whole=False)))
    with store.writing(as_worker(claim)) as work:
        assert claims.finish(work, claim, end)
        shown = requests.read(work, "R-1")
    assert shown.status is RequestStatus.CANCELLED
    assert shown.result is not None
    assert not shown.result.is_whole


def test_a_request_fails_with_its_problem(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store)
    with store.writing(as_worker(claim)) as work:
        assert claims.finish(work, claim, FAILED)
        shown = requests.read(work, "R-1")
    assert (shown.status, shown.problem, shown.result) == (RequestStatus.FAILED, FAILED.problem, None)


@pytest.mark.parametrize(
    ("status", "right"),
    [
        (RequestStatus.QUEUED, "does not end queued"),
        (RequestStatus.RUNNING, "does not end running"),
        (RequestStatus.DEAD, "does not end dead"),
        (RequestStatus.FAILED, "a problem is told"),
    ],
)
def test_work_ends_in_no_other_way(status: RequestStatus, right: str) -> None:
    with pytest.raises(ValueError, match=right):
        Ended(status)
    with pytest.raises(ValueError, match="nothing was found"):
        replace(FAILED, found=found())


def rows(store: Store) -> dict[str, int]:
    with store.engine.connect() as connection:
        return {
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in Base.metadata.sorted_tables
        }


def tries(store: Store, claim: Claim) -> dict[str, bool]:
    """What a worker can still do with a claim."""
    done: dict[str, bool] = {}
    with store.writing(as_worker(claim)) as work:
        done["beat"] = claims.beat(work, claim, LEASE_S, progress(1), b"{}") is not None
    with store.writing(as_worker(claim)) as work:
        done["finish"] = finish(work, claim)
    with store.writing(as_worker(claim)) as work:
        done["fail"] = claims.finish(work, claim, FAILED)
    with store.writing(as_worker(claim)) as work:
        done["hand back"] = claims.hand_back(work, claim)
    done["crash"] = crash(store, claim)
    return done


def test_whoever_was_taken_for_lost_writes_nothing(store: Store) -> None:
    enqueue(store, "R-1", "R-2")
    lost = claimed(store, "w-1", RUN_OUT)
    assert reap(store) == 1
    before, shown = rows(store), status(store)
    assert not any(tries(store, lost).values())
    again = claimed(store, "w-1")
    assert (again.id, again.attempt) == ("R-1", 2)
    assert not any(tries(store, lost).values())
    assert not any(tries(store, replace(again, worker="w-2")).values())
    assert rows(store) == {**before, "request_events": before["request_events"] + 1}
    assert (shown, status(store)) == (RequestStatus.QUEUED, RequestStatus.RUNNING)
    with store.reading("here") as view:
        assert requests.read(view, "R-1").progress is None
    assert tries(store, again)["beat"]


def test_nothing_is_written_behind_the_end(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store)
    assert tries(store, claim) == {
        "beat": True,
        "finish": True,
        "fail": False,
        "hand back": False,
        "crash": False,
    }
    with store.reading("here") as view:
        assert len(sequences.listed(view, Query()).items) == 3
    assert kinds(store, "R-1", 2) == [EventKind.FINISHED]


def test_a_claim_is_not_finished_in_another_plant(store: Store) -> None:
    enqueue(store, "R-1")
    claim = claimed(store)
    with store.writing(ELSEWHERE) as work:
        assert not finish(work, claim)
        assert sequences.listed(work, Query()).items == ()


def test_what_cannot_be_kept_undoes_the_end(store: Store) -> None:
    """A result without its sequence, or a status without its result, is never seen."""
    enqueue(store, "R-1")
    claim = claimed(store)
    end = claims.prepared(claim, Ended(RequestStatus.FINISHED, found()))
    doubled = replace(end, sequences=(*end.sequences, end.sequences[0]))
    with pytest.raises(Exception, match="is there already"), store.writing(as_worker(claim)) as work:
        claims.finish(work, claim, doubled)
    assert status(store) is RequestStatus.RUNNING
    with store.writing(as_worker(claim)) as work:
        assert sequences.listed(work, Query()).items == ()
        assert claims.finish(work, claim, end)


def test_a_lease_that_was_renewed_is_not_reaped(store: Store) -> None:
    enqueue(store, "R-1", "R-2")
    claim = claimed(store, "w-1", RUN_OUT)
    claimed(store, "w-2", LEASE_S)
    with store.writing(as_worker(claim)) as work:
        claims.beat(work, claim, LEASE_S, None, None)
    assert reap(store) == 0
    with store.writing(as_worker(claim)) as work:
        claims.beat(work, claim, RUN_OUT, None, None)
    assert reap(store) == 1
    assert (status(store), status(store, "R-2")) == (RequestStatus.QUEUED, RequestStatus.RUNNING)


def test_all_that_run_out_are_reaped_and_none_twice(store: Store) -> None:
    for plant in (ANN, ELSEWHERE):
        with store.writing(plant) as work:
            requests.enqueue(work, request("R-1"))
    for number in (1, 2):
        claimed(store, f"w-{number}", RUN_OUT)
    assert reap(store) == 2
    assert reap(store) == 0


def test_a_lost_request_is_retried_until_no_attempt_is_left(store: Store) -> None:
    enqueue(store, "R-1", attempts=2)
    claimed(store, "w-1", RUN_OUT)
    assert reap(store) == 1
    assert crash(store, claimed(store, "w-2"), "the child was killed by signal 9")
    with store.reading("here") as view:
        shown = requests.read(view, "R-1")
        told = [event.told for event in requests.events_after(view, "R-1", 2)]
    assert (shown.status, shown.attempt, shown.attempts_left) == (RequestStatus.DEAD, 2, 0)
    assert shown.problem is not None
    assert "signal 9" in shown.problem.detail
    assert shown.ended_at is not None
    assert told == ["the worker was lost: w-1", "by w-2, attempt 2", "the child was killed by signal 9"]
    assert kinds(store, "R-1", 2) == [EventKind.RETRIED, EventKind.STARTED, EventKind.DEAD]


def test_an_attempt_that_is_handed_back_is_given_back(store: Store) -> None:
    enqueue(store, "R-1", attempts=1)
    for attempt in (1, 2, 3):
        claim = claimed(store)
        assert claim.attempt == attempt
        with store.writing(as_worker(claim)) as work:
            assert claims.hand_back(work, claim)
            shown = requests.read(work, "R-1")
        assert (shown.status, shown.attempts_left) == (RequestStatus.QUEUED, 1)
    assert kinds(store, "R-1", 5) == [EventKind.STARTED, EventKind.QUEUED]


@pytest.mark.parametrize("how", ["reaped", "crashed", "handed back"])
def test_one_that_was_cancelled_meanwhile_is_not_begun_again(store: Store, how: str) -> None:
    enqueue(store, "R-1")
    claim = claimed(store, lease_s=RUN_OUT)
    with store.writing(as_worker(claim)) as work:
        claims.beat(work, claim, RUN_OUT, None, ORDER.model_dump_json().encode())
    with store.writing(ANN) as work:
        requests.cancel(work, "R-1")
    if how == "reaped":
        assert reap(store) == 1
    elif how == "crashed":
        assert crash(store, claim)
    else:
        with store.writing(as_worker(claim)) as work:
            assert claims.hand_back(work, claim)
    assert status(store) is RequestStatus.CANCELLED
    with store.reading("here") as view:
        assert requests.incumbent(view, "R-1") == ORDER
