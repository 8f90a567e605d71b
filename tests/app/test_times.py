"""Between the site's clock and the solver's."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.contracts.plant import Calendar
from app.translation.times import HORIZON_DAYS, ClockTexts, PlanClock, calendar_closures
from solver.calendar import Calendar as SolverCalendar

BERLIN = ZoneInfo("Europe/Berlin")
NEW_YORK = ZoneInfo("America/New_York")
HOUR_MS = 3_600_000
DAILY = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def clock(start: str, zone: ZoneInfo = BERLIN) -> PlanClock:
    return PlanClock.at(datetime.fromisoformat(start), zone)


def closures(start: str, zone: ZoneInfo = BERLIN, **calendar: Any) -> SolverCalendar:
    return calendar_closures(Calendar.model_validate(calendar), clock(start, zone))


def open_hours(calendar: SolverCalendar, start_h: float, end_h: float) -> float:
    return calendar.open_between(round(start_h * HOUR_MS), round(end_h * HOUR_MS)) / HOUR_MS


def test_a_moment_without_offset_is_on_the_sites_clock() -> None:
    assert clock("2027-03-01T06:00").ms(datetime(2027, 3, 1, 7)) == HOUR_MS
    assert clock("2027-03-01T06:00").ms(datetime(2027, 3, 1, 6, tzinfo=UTC)) == HOUR_MS


def test_a_moment_before_the_start_is_below_zero() -> None:
    assert clock("2027-03-01T06:00").ms(datetime(2027, 3, 1, 5)) == -HOUR_MS


def test_times_are_given_back_with_the_offset_of_their_own_day() -> None:
    saturday = clock("2027-03-27T12:00")
    assert saturday.moment(0).isoformat() == "2027-03-27T12:00:00+01:00"
    assert saturday.moment(24 * HOUR_MS).isoformat() == "2027-03-28T13:00:00+02:00"


def test_a_time_the_clock_skips_is_read_with_the_offset_before_the_gap() -> None:
    assert clock("2027-03-28T00:00").ms(datetime(2027, 3, 28, 2, 30)) == 2.5 * HOUR_MS


def test_a_time_the_clock_shows_twice_is_the_first_of_the_two() -> None:
    assert clock("2027-10-31T00:00").ms(datetime(2027, 10, 31, 2, 30)) == 2.5 * HOUR_MS
    assert clock("2027-10-31T00:00").ms(datetime(2027, 10, 31, 3)) == 4 * HOUR_MS


def test_without_shifts_and_closures_a_line_is_open_up_to_the_horizon() -> None:
    calendar = closures("2027-03-01T06:00")
    assert calendar.closures == ()
    assert calendar.horizon_ms == HORIZON_DAYS * 24 * HOUR_MS


def test_hours_outside_the_shifts_are_closed() -> None:
    monday = closures("2027-03-01T00:00", shifts=[{"days": ["mon", "tue"], "from": "06:00", "to": "14:00"}])
    assert monday.closures[:3] == (
        (0, 6 * HOUR_MS),
        (14 * HOUR_MS, 30 * HOUR_MS),
        (38 * HOUR_MS, (7 * 24 + 6) * HOUR_MS),
    )


def test_shifts_that_touch_leave_no_closure_between_them() -> None:
    calendar = closures(
        "2027-03-01T06:00",
        shifts=[
            {"days": ["mon"], "from": "06:00", "to": "14:00"},
            {"days": ["mon"], "from": "14:00", "to": "22:00"},
        ],
    )
    assert calendar.closures[0][0] == 16 * HOUR_MS


def test_a_shift_may_end_on_the_next_day_and_one_that_began_before_the_plan_counts() -> None:
    calendar = closures("2027-03-01T02:00", shifts=[{"days": ["sun"], "from": "22:00", "to": "06:00"}])
    assert calendar.closures[0][0] == 4 * HOUR_MS


def test_a_shift_from_six_to_six_is_a_whole_day() -> None:
    calendar = closures("2027-03-01T06:00", shifts=[{"days": ["mon"], "from": "06:00", "to": "06:00"}])
    assert calendar.closures[0][0] == 24 * HOUR_MS


def test_round_the_clock_may_be_written_as_shifts() -> None:
    calendar = closures("2027-03-01T00:00", shifts=[{"days": DAILY, "from": "00:00", "to": "24:00"}])
    assert calendar.closures == ()


@pytest.mark.parametrize(
    ("day", "hours"),
    [("2027-03-27", 8), ("2027-03-28", 7), ("2027-10-30", 8), ("2027-10-31", 9)],
)
def test_a_night_shift_is_an_hour_shorter_or_longer_when_the_clock_changes(day: str, hours: float) -> None:
    evening_before = datetime.fromisoformat(day) - timedelta(hours=4)
    calendar = closures(evening_before.isoformat(), shifts=[{"days": DAILY, "from": "22:00", "to": "06:00"}])
    assert open_hours(calendar, 0, 14) == hours


def test_day_shifts_keep_their_hours_on_the_sites_clock_through_the_year() -> None:
    calendar = closures(
        "2027-03-01T00:00", NEW_YORK, shifts=[{"days": DAILY, "from": "06:00", "to": "14:00"}]
    )
    new_york = clock("2027-03-01T00:00", NEW_YORK)
    opens = {new_york.moment(end_ms).strftime("%H:%M") for _, end_ms in calendar.closures[:-1]}
    closes = {new_york.moment(start_ms).strftime("%H:%M") for start_ms, _ in calendar.closures[1:]}
    assert opens == {"06:00"}
    assert closes == {"14:00"}


def test_closures_are_joined_with_the_hours_outside_the_shifts() -> None:
    calendar = closures(
        "2027-03-01T06:00",
        shifts=[{"days": ["mon", "tue"], "from": "06:00", "to": "14:00"}],
        closures=[{"from": "2027-03-01T12:00", "to": "2027-03-02T08:00", "reason": "maintenance"}],
    )
    assert calendar.closures[0] == (6 * HOUR_MS, 26 * HOUR_MS)


def test_a_closure_before_the_plan_or_beyond_the_horizon_does_not_matter() -> None:
    calendar = closures(
        "2027-03-01T06:00",
        closures=[
            {"from": "2027-02-01T00:00", "to": "2027-02-02T00:00"},
            {"from": "2029-02-01T00:00", "to": "2029-02-02T00:00"},
        ],
    )
    assert calendar.closures == ()


def test_a_closure_that_has_begun_counts_from_the_plans_start() -> None:
    calendar = closures("2027-03-01T06:00", closures=[{"from": "2027-02-01T00:00", "to": "2027-03-01T07:00"}])
    assert calendar.closures == ((0, HOUR_MS),)


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/New_York", "Asia/Kathmandu", "UTC"])
@pytest.mark.parametrize(
    "start",
    ["2027-03-27T05:59:59", "2027-10-30T23:30", "2027-06-01T00:00:00.250", "2027-06-01T00:00:00.000001"],
)
def test_instants_as_text_are_those_of_the_sites_clock(start: str, zone: str) -> None:
    """Before and behind the plan's start, over the hours in which clocks are put forward and back."""
    at_site = clock(start, ZoneInfo(zone))
    texts = ClockTexts(at_site)
    for at_ms in (*range(-30 * HOUR_MS, 60 * HOUR_MS, 777_123), 0, HOUR_MS, -1, 1000, 400 * 24 * HOUR_MS):
        assert texts.text(at_ms) == at_site.moment(at_ms).isoformat()
