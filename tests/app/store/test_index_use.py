"""Lists and searches of jobs read as many rows as they show: every order is that of an index."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, event

from app.contracts.posted_jobs import JobStatus
from app.store import records
from app.store.engine import is_sqlite
from app.store.kinds import JOBS
from app.store.listing import Query
from app.store.store import Store
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


def plans(store: Store, query: Query) -> list[str]:
    """How the database finds the rows of a page, statement by statement; PostgreSQL may not sort or read
    whole tables where it has another way, as it would of a table of few rows.
    """
    told: list[str] = []

    def explain(connection: Connection, _cursor: object, statement: str, values: Any, *_: object) -> None:
        if statement.startswith("SELECT jobs."):
            how = "EXPLAIN QUERY PLAN" if is_sqlite(connection) else "EXPLAIN"
            cursor = connection.connection.cursor()
            cursor.execute(f"{how} {statement}", values)
            told.append("\n".join(str(row) for row in cursor.fetchall()))

    with store.reading("here") as view:
        if not is_sqlite(view.connection):
            for way in ("seqscan", "sort", "bitmapscan"):
                view.connection.exec_driver_sql(f"SET LOCAL enable_{way} = off")
        event.listen(view.connection, "before_cursor_execute", explain)
        records.listed(view, JOBS, query)
    return told


def test_every_page_is_read_in_the_order_of_an_index(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, JOBS, jobs(range(3)))
    for asked, query in ASKED.items():
        found = plans(store, query)
        assert found
        for plan in found:
            assert "TEMP B-TREE" not in plan, asked
            assert "Sort" not in plan, asked
            assert "USING INDEX" in plan or "Index Scan" in plan, asked
