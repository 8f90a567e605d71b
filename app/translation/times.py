"""Between the site's clock and ms from the plan's start; weekly shifts as closures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from app.contracts.base import at_site
from app.contracts.plant import Calendar, Shift, Weekday
from solver import calendar as solver_calendar

HORIZON_DAYS = 366
"""How far ahead of the plan's start calendars are expanded; nothing is planned beyond it."""

_MS = timedelta(milliseconds=1)
_DAYS = tuple(Weekday)
Interval = tuple[int, int]


@dataclass(frozen=True, slots=True)
class PlanClock:
    """Time as the solver counts it: ms from the plan's start."""

    start: datetime
    zone: ZoneInfo

    @classmethod
    def at(cls, start: datetime, zone: ZoneInfo) -> PlanClock:
        """A clock that starts at a moment; without an offset it is the site's."""
        return cls(at_site(start, zone).astimezone(UTC), zone)

    def ms(self, moment: datetime) -> int:
        """ms from the plan's start, below 0 before it, to the ms before."""
        return (at_site(moment, self.zone).astimezone(UTC) - self.start) // _MS

    def moment(self, at_ms: int) -> datetime:
        """The site's time of an instant."""
        return (self.start + timedelta(milliseconds=at_ms)).astimezone(self.zone)


def calendar_closures(calendar: Calendar, clock: PlanClock) -> solver_calendar.Calendar:
    """A line's closures in ms: the hours outside its shifts, and the closures given.

    Without shifts a line is open round the clock. Shifts follow the site's clock, so the night on
    which it is put forward or back has a shift an hour shorter or longer.
    """
    horizon_ms = HORIZON_DAYS * timedelta(days=1) // _MS
    closed = [(clock.ms(closure.start), clock.ms(closure.end)) for closure in calendar.closures]
    if calendar.shifts:
        closed += _gaps(_joined(_manned(calendar, clock)), horizon_ms)
    inside = [(max(0, start_ms), min(end_ms, horizon_ms)) for start_ms, end_ms in closed]
    return solver_calendar.Calendar(
        closures=tuple(_joined(interval for interval in inside if interval[0] < interval[1])),
        horizon_ms=horizon_ms,
    )


def _manned(calendar: Calendar, clock: PlanClock) -> Iterator[Interval]:
    """Every shift that can touch the time from the plan's start to the horizon."""
    first_day = clock.start.astimezone(clock.zone).date() - timedelta(days=2)
    for day_idx in range(HORIZON_DAYS + 4):
        day = first_day + timedelta(days=day_idx)
        for shift in calendar.shifts:
            if _DAYS[day.weekday()] in shift.days:
                yield _shift_ms(shift, day, clock)


def _shift_ms(shift: Shift, day: date, clock: PlanClock) -> Interval:
    start = _clock_time(shift.start, day)
    end = _clock_time(shift.end, day)
    if end <= start:
        end = _clock_time(shift.end, day + timedelta(days=1))
    return clock.ms(start), clock.ms(end)


def _clock_time(text: str, day: date) -> datetime:
    hour, minute = (int(part) for part in text.split(":"))
    midnight = datetime.combine(day, time())
    return midnight + timedelta(hours=hour, minutes=minute)


def _joined(intervals: Iterator[Interval] | list[Interval]) -> list[Interval]:
    """Intervals in order, those that touch or overlap joined."""
    joined: list[Interval] = []
    for start_ms, end_ms in sorted(intervals):
        if joined and start_ms <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end_ms))
        elif start_ms < end_ms:
            joined.append((start_ms, end_ms))
    return joined


def _gaps(manned: list[Interval], horizon_ms: int) -> list[Interval]:
    """What lies between intervals, from 0 to the horizon."""
    edges = [(0, 0), *((max(0, start), max(0, end)) for start, end in manned), (horizon_ms, horizon_ms)]
    return [(before[1], after[0]) for before, after in pairwise(edges) if before[1] < after[0]]
