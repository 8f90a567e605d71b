"""Shifts: open time of a line between closures that are long enough."""

from __future__ import annotations

import pytest

from app.translation.shifts import PARTING_CLOSURE_MS, Shift, shift_at, shifts_until
from solver.calendar import ALWAYS_OPEN, Calendar

H_MS = 3_600_000
NIGHT = (14 * H_MS, 22 * H_MS)


def test_a_line_that_never_closes_has_one_shift_without_end() -> None:
    assert shifts_until(ALWAYS_OPEN, 100 * H_MS) == (Shift(0, None),)


def test_a_night_parts_shifts_and_none_is_made_beyond_the_last_work() -> None:
    calendar = Calendar((NIGHT, (38 * H_MS, 46 * H_MS)))
    assert shifts_until(calendar, 13 * H_MS) == (Shift(0, 14 * H_MS),)
    assert shifts_until(calendar, 23 * H_MS) == (Shift(0, 14 * H_MS), Shift(22 * H_MS, 38 * H_MS))
    assert shifts_until(calendar, 46 * H_MS)[-1] == Shift(46 * H_MS, None)


@pytest.mark.parametrize(("shorter_ms", "shifts"), [(0, 2), (1, 1)])
def test_a_closure_of_an_hour_parts_shifts_and_a_shorter_one_is_a_break(shorter_ms: int, shifts: int) -> None:
    closure = (4 * H_MS, 4 * H_MS + PARTING_CLOSURE_MS - shorter_ms)
    found = shifts_until(Calendar((closure, NIGHT)), 13 * H_MS)
    assert len(found) == shifts
    assert found[0].breaks == ((closure,) if shorter_ms else ())


def test_several_breaks_stay_in_one_shift() -> None:
    breaks = tuple((at_h * H_MS, at_h * H_MS + H_MS // 4) for at_h in (2, 5, 8))
    assert shifts_until(Calendar((*breaks, NIGHT)), 9 * H_MS) == (Shift(0, NIGHT[0], breaks),)


def test_a_plan_that_begins_closed_has_its_first_shift_when_the_line_opens() -> None:
    assert shifts_until(Calendar(((0, 2 * H_MS), NIGHT)), 3 * H_MS) == (Shift(2 * H_MS, NIGHT[0]),)


def test_what_begins_as_a_shift_begins_is_its_own_and_what_ends_then_is_not() -> None:
    shifts = (Shift(0, NIGHT[0]), Shift(NIGHT[0], None))
    assert shift_at(shifts, NIGHT[0]) == 1
    assert shift_at(shifts, NIGHT[0], ending=True) == 0
    assert shift_at(shifts, -5) == 0


def test_work_that_only_touches_a_shift_is_not_in_it() -> None:
    shift = Shift(10, 20)
    assert not shift.overlaps(0, 10)
    assert not shift.overlaps(20, 30)
    assert shift.overlaps(19, 30)
