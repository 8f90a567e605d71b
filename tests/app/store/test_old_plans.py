"""Plans are forgotten after a while; what the floor was given, and what is not over, stays."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from app.contracts.planning_requests import RequestResult
from app.errors import NotStored
from app.store import claims, old_plans, releases, requests, sequences
from app.store.listing import Query
from app.store.releases import NewRelease
from app.store.store import Actor, Store
from tests.app.store.planning_requests import FAILED, as_worker, claimed, enqueue, finish
from tests.app.store.test_sequences import keep
from tests.app.store.things import ANN

BEFORE_ALL, BEHIND_ALL = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
SERVICE = Actor("service")


def planned(store: Store, id: str) -> RequestResult:
    """What came of a request that has run."""
    enqueue(store, id)
    claim = claimed(store)
    with store.writing(as_worker(claim)) as work:
        assert finish(work, claim)
    with store.reading("here") as view:
        result = requests.read(view, id).result
    assert result is not None
    return result


def forget(store: Store, moment: datetime = BEHIND_ALL, most: int = 10) -> int:
    with store.writing(SERVICE) as work:
        return old_plans.forget_before(work, moment, most)


def requests_left(store: Store) -> list[str]:
    with store.reading("here") as view:
        return sorted(item.id for item in requests.listed(view, Query()).items)


def sequences_left(store: Store) -> list[str]:
    with store.reading("here") as view:
        return sorted(stored.item.id for stored in sequences.listed(view, Query()).items)


def test_a_request_goes_with_all_that_it_found(store: Store) -> None:
    planned(store, "R-1")
    with store.writing(ANN) as work:
        keep(work, "by hand")
    assert len(sequences_left(store)) == 4
    assert forget(store) == 1
    assert requests_left(store) == []
    assert sequences_left(store) == ["by hand"]
    with store.reading("here") as view, pytest.raises(NotStored):
        requests.read(view, "R-1")


def test_what_was_over_later_stays(store: Store) -> None:
    planned(store, "R-1")
    assert forget(store, BEFORE_ALL) == 0
    assert requests_left(store) == ["R-1"]
    assert len(sequences_left(store)) == 3


def test_what_was_released_stays_also_when_it_no_longer_is(store: Store) -> None:
    result = planned(store, "R-1")
    (first, second) = (found.sequence for found in result.alternatives)
    for number, sequence in (("1", first), ("2", result.sequence)):
        with store.writing(ANN) as work:
            pk = sequences.origin(work, sequence).pk
            releases.keep(work, NewRelease(number, pk, ("H1",), "as planned", ()))
    assert forget(store) == 1
    assert sequences_left(store) == sorted([first, result.sequence])
    assert second not in sequences_left(store)


def test_one_that_waits_or_runs_stays_and_one_that_failed_goes(store: Store) -> None:
    enqueue(store, "failed", "runs", "waits")
    claim = claimed(store)
    with store.writing(as_worker(claim)) as work:
        assert claims.finish(work, claim, FAILED)
    claimed(store)
    assert forget(store) == 1
    assert requests_left(store) == ["runs", "waits"]


def test_so_many_at_once_the_oldest_first(store: Store) -> None:
    for id in ("R-1", "R-2", "R-3"):
        planned(store, id)
    assert forget(store, most=2) == 2
    assert requests_left(store) == ["R-3"]
    assert forget(store, most=2) == 1
    assert sequences_left(store) == []
