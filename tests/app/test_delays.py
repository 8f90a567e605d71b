"""Released runs are moved by what has really run before them, and by nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from app.contracts.base import ZERO
from app.contracts.orders import LabelRange
from app.contracts.releases import ReleasedRun
from app.services.delays import Placed, late_on_line
from app.store.runs_made import RunMade

SIX = datetime(2027, 3, 1, 6, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return SIX + timedelta(minutes=minutes)


def run(position: int, due: float | None, lot: LabelRange | None = None) -> ReleasedRun:
    """Of an hour, the first from 6 on; it is due so many minutes after 6."""
    begins = 60 * (position - 1)
    return ReleasedRun(
        release="R-1",
        sequence="S-1",
        line="H1",
        position=position,
        lot=lot,
        changeover_start=at(begins),
        print_start=at(begins + 10),
        end=at(begins + 60),
        press_due=None if due is None else at(due),
        late_min=ZERO,
    )


def real(started: float, ended: float | None = None, lot: LabelRange | None = None) -> RunMade:
    return RunMade("H1", "", lot, None, at(started), None if ended is None else at(ended), SIX)


LINE: list[Placed] = [("A", run(1, 65)), ("B", run(2, 130)), ("C", run(3, None)), ("D", run(4, 250))]


def late(made: Mapping[str, Sequence[RunMade]], line: Sequence[Placed] = LINE) -> dict[str, Any]:
    """By how many minutes which jobs will be late."""
    return {told.job: told.late_min for told in late_on_line(line, made)}


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        ({}, {}),
        ({"A": [real(10)]}, {}),
        ({"A": [real(0)]}, {}),
        ({"A": [real(16)]}, {"A": 1}),
        ({"A": [real(25)]}, {"A": 10, "B": 5, "D": 5}),
        ({"A": [real(25, 68)]}, {}),
        ({"A": [real(25, 72)]}, {"B": 2, "D": 2}),
        ({"A": [real(25, 90)], "B": [real(71)]}, {}),
        ({"A": [real(10, 60)], "B": [real(100)]}, {"B": 20, "D": 20}),
        ({"C": [real(150)]}, {"D": 10}),
        ({"A": [real(10, 20), real(40)]}, {"A": 25, "B": 20, "D": 20}),
        ({"X": [real(500)]}, {}),
    ],
)
def test_what_is_behind_a_late_run_is_late_too(
    made: Mapping[str, Sequence[RunMade]], expected: Mapping[str, float]
) -> None:
    assert late(made) == expected


def test_what_was_released_late_is_late_before_anything_runs() -> None:
    assert late({}, [("A", run(1, 55))]) == {"A": 5}
    assert late({"A": [real(10, 60)]}, [("A", run(1, 55))]) == {}


def test_a_lot_is_moved_by_what_is_known_of_its_own_labels() -> None:
    first, second = LabelRange(first_label=1, last_label=100), LabelRange(first_label=101, last_label=200)
    line = [("A", run(1, 125, first)), ("A", run(2, 125, second))]
    assert late({"A": [real(20, 70, first)]}, line) == {"A": 5}
    assert late({"A": [real(10, 60, first), real(70, 130, second)]}, line) == {}
    assert late({"A": [real(10, 60, first), real(80, None, second)]}, line) == {"A": 5}


def test_times_are_told_as_they_are_moved() -> None:
    (told,) = late_on_line([("A", run(1, 60))], {"A": [real(12.5)]})
    assert (told.changeover_start, told.print_start, told.end) == (at(2.5), at(12.5), at(62.5))
    assert (told.delay_min, told.late_min, told.press_due) == (Decimal("2.5"), Decimal("2.5"), at(60))
