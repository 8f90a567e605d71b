"""Lists and searches read as many rows as they show, and workers as many as they take: every order is that of
an index."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from typing import Any

from sqlalchemy import Connection, event

from app.contracts.planning_requests import Priority, RequestStatus
from app.contracts.posted_jobs import JobStatus
from app.store import claims, records, releases, requests
from app.store.engine import is_sqlite
from app.store.kinds import JOBS
from app.store.listing import Query
from app.store.store import Store, Work
from tests.app.store.planning_requests import LEASE_S, claimed, enqueue
from tests.app.store.test_releases import release
from tests.app.store.test_sequences import keep
from tests.app.store.things import MIS, jobs

NOW = datetime(2027, 3, 1, tzinfo=UTC)

ASKED = {
    "by key": Query(),
    "backwards": Query(sort="-job"),
    "by due": Query(sort="due"),
    "by due backwards": Query(sort="-due"),
    "by customer": Query(sort="customer"),
    "by change": Query(sort="-updated_at"),
    "open": Query(filters={"status": JobStatus.OPEN}),
    "open by due": Query(filters={"status": JobStatus.OPEN}, sort="due"),
    "of a die": Query(filters={"die": "D-101"}),
    "of a stock": Query(filters={"substrate": "PAPER-80"}),
    "of a customer": Query(filters={"customer": "Café Noir"}),
    "due from": Query(filters={"due_from": NOW}),
    "of a stock due from": Query(filters={"substrate": "PAPER-80", "due_from": NOW}),
    "changed since": Query(filters={"changed_since": NOW}),
    "search": Query(prefix="j-00"),
    "search of a customer": Query(prefix="café"),
}


def plans(store: Store, begins: str, act: Callable[[Work], object]) -> list[str]:
    """How the database finds the rows of those statements of an act that begin so; PostgreSQL may not sort
    or read whole tables where it has another way, as it would of a table of few rows.
    """
    told: list[str] = []

    def explain(connection: Connection, _cursor: object, statement: str, values: Any, *_: object) -> None:
        if statement.startswith(begins):
            how = "EXPLAIN QUERY PLAN" if is_sqlite(connection) else "EXPLAIN"
            cursor = connection.connection.cursor()
            cursor.execute(f"{how} {statement}", values)
            told.append("\n".join(str(row) for row in cursor.fetchall()))

    with store.writing(MIS) as work:
        if not is_sqlite(work.connection):
            for way in ("seqscan", "sort", "bitmapscan"):
                work.connection.exec_driver_sql(f"SET LOCAL enable_{way} = off")
        event.listen(work.connection, "before_cursor_execute", explain)
        act(work)
    assert told
    return told


def follows_an_index(plan: str) -> bool:
    """Whether rows come in the order of an index, and no more of them are read than are wanted."""
    sorts = "TEMP B-TREE" in plan or "Sort" in plan
    return not sorts and ("USING INDEX" in plan or "Index Scan" in plan)


def test_every_page_is_read_in_the_order_of_an_index(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, jobs(range(3)))
    for asked, query in ASKED.items():
        for plan in plans(store, "SELECT jobs.", partial(records.listed, kind=JOBS, query=query)):
            assert follows_an_index(plan), asked


ASKED_OF_REQUESTS = {
    "all": Query(),
    "that wait": Query(filters={"status": RequestStatus.QUEUED}),
    "of a priority": Query(filters={"priority": Priority.RUSH}),
    "of a name": Query(filters={"name": "Monday"}),
}


def test_every_page_of_requests_is_read_in_the_order_of_an_index(store: Store) -> None:
    enqueue(store, "R-1", "R-2")
    for asked, query in ASKED_OF_REQUESTS.items():
        begins = "SELECT planning_requests."
        for plan in plans(store, begins, partial(requests.listed, query=query)):
            assert follows_an_index(plan), asked


def test_the_next_request_is_the_first_of_those_that_wait(store: Store) -> None:
    enqueue(store, "R-1", "R-2")
    (plan,) = plans(store, "UPDATE planning_requests", lambda work: claims.claim(work, "w-1", LEASE_S))
    assert follows_an_index(plan)
    assert "ix_planning_requests_queued" in plan


def test_lost_requests_are_looked_for_among_those_that_run(store: Store) -> None:
    enqueue(store, "R-1", "R-2")
    claimed(store)
    (plan,) = plans(store, "SELECT planning_requests.", claims.reap)
    assert follows_an_index(plan)
    assert "ix_planning_requests_running" in plan


def test_where_jobs_are_released_is_looked_for_on_the_lines_that_have_a_release(store: Store) -> None:
    """Not in all kept sequences of which a job is a part: of those there are ever more."""
    for number in range(3):
        with store.writing(MIS) as work:
            keep(work, f"S-{number}")
            release(work, f"S-{number}", f"R-{number}")
    for plan in plans(store, "SELECT sequence_runs.job", lambda work: releases.of_jobs(work, ["J-2101"])):
        assert "ix_release_lines_current" in plan
        assert "ix_sequence_runs_plant_pk_job" not in plan


def test_the_latest_releases_are_the_first_of_an_index(store: Store) -> None:
    with store.writing(MIS) as work:
        keep(work, "S-1")
        release(work, "S-1", "R-1")
    (plan,) = plans(store, "SELECT releases.pk", lambda work: releases.listed(work, Query()))
    assert follows_an_index(plan)
