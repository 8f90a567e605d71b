"""The benchmark of days runs through and says what it should, without any search worth the name."""

from __future__ import annotations

import json
from typing import Any

import pytest

from app.contracts.sequences import Goal
from tests.bench.__main__ import main
from tests.bench.day import DRAWN_DAYS, SAMPLE


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """Rows of a run whose searches cost the two baselines and keep the better."""
    file = tmp_path_factory.mktemp("bench") / "rows.json"
    main(["day", "--work", "1", "--days", "1", "--json", str(file)])
    found: list[dict[str, Any]] = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return found


def test_every_day_has_a_row_with_its_saving_on_the_better_baseline(rows: list[dict[str, Any]]) -> None:
    days = [row for row in rows if "day" in row]
    assert [row["day"] for row in days] == [SAMPLE, f"drawn {DRAWN_DAYS[0][0]}"]
    for row in days:
        better_eur = min(row["as_entered_eur"], row["by_due_time_eur"])
        assert row["saving"] == pytest.approx(1 - row["balanced_eur"] / better_eur)


def test_a_days_saving_is_told_without_late_costs_too(rows: list[dict[str, Any]]) -> None:
    for row in (row for row in rows if "day" in row):
        entered_eur = row["as_entered_eur"] - row["as_entered_late_eur"]
        by_due_eur = row["by_due_time_eur"] - row["by_due_time_late_eur"]
        own_eur = row["balanced_eur"] - row["late_eur"]
        assert row["saving_without_late"] == pytest.approx(1 - own_eur / min(entered_eur, by_due_eur))


def test_no_order_is_above_a_baseline(rows: list[dict[str, Any]]) -> None:
    assert all(row["saving"] >= 0 for row in rows if "day" in row)


def test_every_goal_is_tried_on_the_sample_day(rows: list[dict[str, Any]]) -> None:
    assert sorted(row["goal"] for row in rows if "goal" in row) == sorted(Goal)


def test_the_balanced_goal_has_the_sample_days_own_figures(rows: list[dict[str, Any]]) -> None:
    day = next(row for row in rows if row.get("day") == SAMPLE)
    goal = next(row for row in rows if row.get("goal") == Goal.BALANCED)
    assert goal["controllable_eur"] == day["balanced_eur"]
    assert goal["waste_m"] == day["waste_m"]
