"""Lists come page by page: nothing twice, nothing left out, whatever happens in between."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from app.contracts.cursors import Cursor
from app.contracts.posted_jobs import JobStatus, PostedJob, StatusChange
from app.errors import BadInput
from app.store import jobs as job_store
from app.store import records
from app.store.kind import Kind
from app.store.kinds import DELIVERIES, JOBS, ROLLS
from app.store.listing import Query
from app.store.store import Store
from tests.app.store.things import ELSEWHERE, MIS, job, jobs, roll


def keys(store: Store, limit: int = 3, **asked: Any) -> list[str]:
    """Jobs of all pages, in the order in which they came."""
    found: list[str] = []
    cursor = None
    with store.reading("here") as view:
        while True:
            page = records.listed(view, JOBS, Query(cursor=cursor, limit=limit, **asked))
            assert len(page.items) <= limit
            found += [stored.item.job for stored in page.items]
            cursor = page.next_cursor
            if cursor is None:
                return found
            assert len(page.items) == limit


def post(store: Store, *items: PostedJob) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, items)


def test_a_list_is_by_key_and_whole(store: Store) -> None:
    post(store, *reversed(jobs(range(8))))
    assert keys(store) == [f"J-{number:04d}" for number in range(8)]
    assert keys(store, sort="-job") == [f"J-{number:04d}" for number in reversed(range(8))]
    for limit in (1, 2, 4, 7, 8, 9):
        assert keys(store, limit) == keys(store)


def test_what_is_listed_is_what_is_stored(store: Store) -> None:
    post(store, job(revision=4), job("J-2", quantity=3))
    with store.reading("here") as view:
        page = records.listed(view, JOBS, Query())
        assert page.items == (records.require(view, JOBS, "J-1"), records.require(view, JOBS, "J-2"))
    assert page.items[0].item == job(revision=4)
    assert page.next_cursor is None


def test_those_without_a_due_time_come_last_in_either_order(store: Store) -> None:
    post(
        store,
        job("J-1", due=None),
        job("J-2", due="2027-03-03T00:00Z"),
        job("J-3", due=None),
        job("J-4", due="2027-03-02T00:00Z"),
        job("J-5", due="2027-03-03T00:00Z"),
    )
    for limit in (1, 2, 3, 4, 5, 6):
        assert keys(store, limit, sort="due") == ["J-4", "J-2", "J-5", "J-1", "J-3"]
        assert keys(store, limit, sort="-due") == ["J-5", "J-2", "J-4", "J-3", "J-1"]


def test_no_job_comes_twice_or_is_left_out_while_others_are_added_and_removed(store: Store) -> None:
    post(store, *jobs(range(0, 100, 10)))
    found: list[str] = []
    cursor = None
    for turn in range(20):
        with store.writing(MIS) as work:
            page = records.listed(work, JOBS, Query(cursor=cursor, limit=2))
            found += [stored.item.job for stored in page.items]
            cursor = page.next_cursor
            records.upsert(work, JOBS, [job(f"J-{turn:04d}-before"), job(f"J-{turn * 10 + 15:04d}-behind")])
            records.remove(work, JOBS, found[-1])
        if cursor is None:
            break
    assert len(found) == len(set(found))
    assert set(f"J-{number:04d}" for number in range(0, 100, 10)) <= set(found)


def test_filters_narrow_a_list(store: Store) -> None:
    post(
        store,
        job("J-1", die="D-1", due="2027-03-02T00:00Z"),
        job("J-2", die="D-2", due="2027-03-03T00:00Z", customer="CAFÉ NOIR"),
        job("J-3", die="D-1", due=None, substrate="PP-W60", customer="Other"),
    )
    with store.writing(MIS) as work:
        job_store.change_status(work, "J-1", StatusChange(status=JobStatus.FINISHED))
    third = datetime(2027, 3, 3, tzinfo=UTC)
    assert keys(store, filters={"die": "D-1"}) == ["J-1", "J-3"]
    assert keys(store, filters={"customer": "café noir"}) == ["J-1", "J-2"]
    assert keys(store, filters={"substrate": "PP-W60"}) == ["J-3"]
    assert keys(store, filters={"status": JobStatus.OPEN}, sort="due") == ["J-2", "J-3"]
    assert keys(store, filters={"due_from": third}) == ["J-2"]
    assert keys(store, filters={"die": "D-1", "due_from": third}) == []
    assert keys(store, filters={"due_before": third, "status": JobStatus.FINISHED}) == ["J-1"]


def test_what_is_due_from_then_on_is_listed_by_due_time(store: Store) -> None:
    post(store, *(job(f"J-{number}", due=f"2027-03-{9 - number:02d}T00:00Z") for number in range(1, 6)))
    third = datetime(2027, 3, 5, tzinfo=UTC)
    assert keys(store, 2, filters={"due_from": third}) == ["J-4", "J-3", "J-2", "J-1"]
    assert keys(store, 2, filters={"due_from": third}, sort="job") == ["J-1", "J-2", "J-3", "J-4"]


ODD = ["100%", "100_1", "1000", "Été", "ÉTÉ-2", "été-3", "ete", "🙂-1", "🙂🙂", "a%b", "A_B", "ﬁn", "Straße"]


FOUND = {
    "100%": ["100%"],
    "100_": ["100_1"],
    "100": ["100%", "1000", "100_1"],
    "ÉT": ["Été", "ÉTÉ-2", "été-3"],
    "e\u0301te\u0301-": ["ÉTÉ-2", "été-3"],
    "🙂": ["🙂-1", "🙂🙂"],
    "a_": ["A_B"],
    "A%": ["a%b"],
    "fi": ["ﬁn"],
    "STRASS": ["Straße"],
    "\U0010ffff": [],
    "x": [],
}


def test_a_search_takes_every_character_for_itself(store: Store) -> None:
    post(store, *(job(number, customer="") for number in ODD))
    assert {prefix: keys(store, prefix=prefix) for prefix in FOUND} == FOUND


def test_a_search_finds_numbers_first_and_then_customers(store: Store) -> None:
    post(
        store,
        job("A-2", customer="Anna"),
        job("B-1", customer="Abel"),
        job("a-1", customer="Zoe"),
        job("B-3", customer="ANNA"),
        job("B-2", customer="anna"),
        job("C-1", customer="Carla"),
    )
    for limit in (1, 2, 3, 5):
        assert keys(store, limit, prefix="a") == ["a-1", "A-2", "B-1", "B-2", "B-3"]
    assert keys(store, prefix="a", filters={"die": "D-9"}) == []
    assert keys(store, prefix="") == keys(store, prefix="", limit=50)


def test_long_names_are_searched_by_their_beginning(store: Store) -> None:
    post(store, job(customer="ß" * 3000))
    assert keys(store, prefix="s" * 150) == ["J-1"]


def test_plants_do_not_see_each_others_lists(store: Store) -> None:
    post(store, job("J-1"))
    with store.writing(ELSEWHERE) as work:
        records.upsert(work, JOBS, [job("J-2")])
        assert [stored.item.job for stored in records.listed(work, JOBS, Query(prefix="J")).items] == ["J-2"]
    assert keys(store) == keys(store, prefix="j") == ["J-1"]


def test_every_kind_is_listed_by_all_its_sorts(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll("R-2"), roll("R-1", substrate="PP-W60")])
        kinds: tuple[Kind[Any], ...] = (JOBS, ROLLS, DELIVERIES)
        for kind in kinds:
            for sort in kind.sorts:
                for direction in ("", "-"):
                    records.listed(work, kind, Query(sort=direction + sort))
        by_stock = records.listed(work, ROLLS, Query(sort="substrate")).items
    assert [stored.item.id for stored in by_stock] == ["R-2", "R-1"]


def other_cursor() -> str:
    return Cursor("another list", (0, "J-1")).text()


REFUSED: list[tuple[dict[str, Any], str, str]] = [
    ({"sort": "colour"}, "sort", "should be one of: job, due, customer, updated_at"),
    ({"filters": {"colour": "red"}}, "colour", "should be one of: status, customer"),
    ({"prefix": "a", "sort": "due"}, "sort", "should be left out beside search"),
    ({"cursor": "nonsense"}, "query.cursor", "of the same list"),
    ({"cursor": other_cursor()}, "query.cursor", "of the same list"),
]


def test_what_cannot_be_listed_is_refused(store: Store) -> None:
    with store.reading("here") as view:
        for asked, field, right in REFUSED:
            with pytest.raises(BadInput) as refused:
                records.listed(view, JOBS, Query(**asked))
            (fault,) = refused.value.faults
            assert fault.field == field
            assert right in fault.right


def test_a_cursor_that_was_made_up_is_refused(store: Store) -> None:
    made_up: list[tuple[Any, ...]] = [(), ("x",), (-1,), (7,), (0, 5), (0, "J-1", "J-2"), (True, None)]
    with store.reading("here") as view:
        for after in made_up:
            cursor = Cursor(repr(("jobs", [], None, None)), after).text()
            with pytest.raises(BadInput):
                records.listed(view, JOBS, Query(cursor=cursor))


def test_a_cursor_with_a_made_up_moment_is_refused(store: Store) -> None:
    moments: list[str | int] = ["2027-03-01", "2027-03-01T00:00", "soon", 5]
    with store.reading("here") as view:
        for moment in moments:
            cursor = Cursor(repr(("jobs", [], "due", None)), (0, moment, "J-1")).text()
            with pytest.raises(BadInput):
                records.listed(view, JOBS, Query(cursor=cursor, sort="due"))
