"""The latency benchmark measures what it says, in few rounds and without a look at how long anything took."""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from app.contracts.planning_requests import RequestStatus
from app.store.engine import POSTGRESQL, SQLITE
from app.store.requests import REQUESTS
from app.store.store import Store
from tests.app.databases import without_server
from tests.bench import latency, latency_claims, latency_requests
from tests.bench.__main__ import main
from tests.bench.followed_request import Heard, until
from tests.bench.latency_claims import FEW, Shape, Shop
from tests.bench.latency_figures import Figure
from tests.bench.load_rows import engine_of
from tests.bench.service_client import WrongAnswerError
from tests.bench.service_databases import KINDS, NoServerError, databases

Rows = list[dict[str, Any]]

QUEUED, OVER, CLAIMS = 12, 30, 2
SMALL = (
    *("--seeds", "1", "--times", "2", "--still", "1", "--kills", "1"),
    *("--claims", str(CLAIMS), "--queued", str(QUEUED), "--over", str(OVER)),
)
SHAPES = [str(Shape(queued, over)) for over in (0, OVER) for queued in (FEW, QUEUED)]


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Rows of a service on SQLite and of claims on both."""
    path = tmp_path_factory.mktemp("latency") / "latency.json"
    main(["latency", *SMALL, "--databases", SQLITE, "--json", str(path)])
    try:
        main(["latency", *SMALL, "--databases", POSTGRESQL, "--parts", "claims", "--json", str(path)])
    except NoServerError as error:
        without_server(error)
    return path


@pytest.fixture(scope="module")
def rows(file: Path) -> Rows:
    found: Rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return found


def _of(rows: Rows, part: str, database: str) -> Rows:
    return [row for row in rows if (row["part"], row["database"]) == (part, database)]


def test_everything_that_happens_to_a_request_is_timed(rows: Rows) -> None:
    counts = {row["what"]: row["count"] for row in _of(rows, latency_requests.PART, SQLITE)}
    told = counts.pop(latency_requests.TOLD_PROGRESS)
    assert counts == {
        latency_requests.STARTED: 2,
        latency_requests.HEARD_STARTED: 2,
        latency_requests.FIRST_PROGRESS: 2,
        latency_requests.CANCELLED: 2,
        latency_requests.KILLED: 1,
        latency_requests.RETAKEN: 1,
    }
    assert 2 <= told <= 2 * latency_requests.HEARD_EACH


def test_what_comes_later_takes_longer(rows: Rows) -> None:
    took = {row["what"]: row for row in _of(rows, latency_requests.PART, SQLITE)}
    assert took[latency_requests.STARTED]["value"] > 0
    heard, first = took[latency_requests.HEARD_STARTED], took[latency_requests.FIRST_PROGRESS]
    assert heard["value"] < first["value"]
    for row in took.values():
        assert row["value"] <= row["p90_ms"] <= row["most_ms"]


def test_claims_of_every_shape_are_timed_beside_the_smallest(rows: Rows) -> None:
    for database in KINDS:
        claims = _of(rows, latency_claims.PART, database)
        assert [row["what"] for row in claims] == SHAPES
        assert {row["count"] for row in claims} == {CLAIMS}
        assert [row["ratio"] for row in claims] == [
            pytest.approx(row["value"] / claims[0]["value"], abs=0.01) for row in claims
        ]


def test_every_part_has_a_table_of_its_own(rows: Rows) -> None:
    tables = list(latency.tables(rows))
    assert len(tables) == len(latency.PARTS)
    for table in tables:
        assert {len(line) for line in table.lines} == {len(table.headings)}
    (started, *_), *_ = [table.lines for table in tables]
    assert (started[0], started[-1]) == ("sqlite: queued → started", "14")


def test_a_part_that_was_measured_is_not_measured_again(file: Path, rows: Rows) -> None:
    main(["latency", *SMALL, "--databases", SQLITE, "--json", str(file)])
    assert json.loads(file.read_text(encoding="utf-8"))["rows"] == rows


def test_a_queue_keeps_its_shape_while_requests_are_claimed() -> None:
    with databases(SQLITE) as made:
        url = made.new()
        with closing(Store(url)) as store:
            shop = Shop(store, Shape(queued=3, over=7))
            for _ in range(4):
                assert shop.claim() > 0
        with engine_of(url) as engine, engine.connect() as connection:
            statuses = Counter(connection.execute(select(REQUESTS.c.status)).scalars())
    assert statuses == {RequestStatus.QUEUED: 3, RequestStatus.CANCELLED: 7 + 4}


def test_a_row_tells_median_and_worst_in_ms() -> None:
    asked = argparse.Namespace(seconds=1.0)
    row = Figure(SQLITE, "claims", "a claim", 0, [0.003, 0.001, 0.002, 0.009], {"ratio": 2}).row(asked)
    assert (row["value"], row["p90_ms"], row["most_ms"], row["count"]) == (2.5, 9.0, 9.0, 4)
    assert (row["instance"], row["ratio"]) == ("sqlite: a claim", 2)


def _told(*names: str) -> Iterator[Heard]:
    return (Heard(name, time.time(), time.time(), {}) for name in names)


def test_events_of_other_names_are_passed_over() -> None:
    assert until(_told("queued", "started", "progress"), "progress").name == "progress"


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("queued", "failed", "progress"), "a request ended failed, not progress"),
        (("queued", "started"), "the stream ended without progress"),
    ],
)
def test_what_never_comes_ends_the_measurement(names: tuple[str, ...], words: str) -> None:
    with pytest.raises(WrongAnswerError, match=words):
        until(_told(*names), "progress")
