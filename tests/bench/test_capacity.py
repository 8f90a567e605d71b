"""The capacity benchmark measures what it says, without a look at how long anything took."""

from __future__ import annotations

import json
from typing import Any

import pytest

from app.store.engine import SQLITE
from tests.bench import capacity
from tests.bench.__main__ import main

SMALL = (
    *("--databases", SQLITE, "--slots", "2", "--requests", "3", "--seconds", "0.6"),
    *("--sample", "small", "--idle-s", "0.2"),
)


@pytest.fixture(scope="module")
def row(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What came of a few requests."""
    file = tmp_path_factory.mktemp("capacity") / "capacity.json"
    main(["capacity", *SMALL, "--json", str(file)])
    (found,) = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return dict(found)


def test_every_request_is_finished_and_takes_at_least_its_search(row: dict[str, Any]) -> None:
    assert row["statuses"] == ["finished"] * 3
    assert all(turnaround_s >= 0.6 for turnaround_s in row["turnaround_s"])


def test_what_it_takes_is_told(row: dict[str, Any]) -> None:
    assert all(row[name] > 0 for name in ("value", "cpu_s", "child_mb", "idle_mb", "kept_kb"))
    assert len(row["best_eur"]) == 3


def test_the_row_has_a_line_of_the_table(row: dict[str, Any]) -> None:
    (table,) = capacity.tables([row])
    ((name, *figures),) = table.lines
    assert name == f"small on {SQLITE}, 2"
    assert len(figures) + 1 == len(table.headings)
