"""Open time between instants."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from solver.calendar import Calendar

CALENDAR = Calendar(((10, 20), (30, 35)))
INSTANTS = st.integers(-5, 60)


def is_open(at_ms: int) -> bool:
    return not any(start <= at_ms < end for start, end in CALENDAR.closures)


@given(INSTANTS, INSTANTS)
def test_open_time_is_the_count_of_open_instants(start_ms: int, end_ms: int) -> None:
    assert CALENDAR.open_between(start_ms, end_ms) == sum(map(is_open, range(start_ms, end_ms)))


@given(INSTANTS)
def test_the_next_open_instant_is_the_first_one_that_is_open(at_ms: int) -> None:
    expected = next(instant for instant in range(at_ms, 200) if is_open(instant))
    assert CALENDAR.next_open(at_ms) == expected


@given(INSTANTS)
def test_the_closure_from_an_instant_is_the_first_that_starts_then_or_later(at_ms: int) -> None:
    expected = next((closure for closure in CALENDAR.closures if closure[0] >= at_ms), None)
    assert CALENDAR.closure_from(at_ms) == expected


def test_a_line_without_closures_is_always_open() -> None:
    assert Calendar().next_open(7) == 7
    assert Calendar().open_between(3, 11) == 8
    assert Calendar().closure_from(0) is None
