"""Between the site's clock and ms from the plan's start; weekly shifts as closures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from app.contracts.base import at_site
from app.contracts.plant import Calendar, Shift, Weekday
from solver import calendar as solver_calendar

HORIZON_DAYS = 366
"""How far ahead of the plan's start calendars are expanded; nothing is planned beyond it."""

_MS = timedelta(milliseconds=1)
_DAY_MS = 86_400_000
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


class ClockTexts:
    """Instants of a plan as ISO 8601 has them on the site's clock; thousands of them are told in a breath.

    A day counted from the plan's start in which the clock is not put forward or back needs its zone but once.
    """

    def __init__(self, clock: PlanClock) -> None:
        self._clock = clock
        self._offsets: dict[int, tuple[int, str] | None] = {}
        self._minutes: dict[int, str] = {}

    def text(self, at_ms: int) -> str:
        """`moment(at_ms).isoformat()`."""
        span = at_ms // _DAY_MS
        if span not in self._offsets:
            self._offsets[span] = self._offset(span)
        offset = self._offsets[span]
        if offset is None:
            return self._clock.moment(at_ms).isoformat()
        minute, rest_ms = divmod(at_ms + offset[0], 60_000)
        to_minute = self._minutes.get(minute)
        if to_minute is None:
            at_site = datetime(1970, 1, 1) + timedelta(minutes=minute)
            to_minute = self._minutes[minute] = at_site.isoformat(timespec="minutes")
        second, ms = divmod(rest_ms, 1000)
        return (
            f"{to_minute}:{second:02}.{ms:03}000{offset[1]}" if ms else f"{to_minute}:{second:02}{offset[1]}"
        )

    def _offset(self, span: int) -> tuple[int, str] | None:
        """What is added to ms of the plan to get ms of the site's clock since 1970, and its offset as text;
        None where it changes in that day, or where the plan does not start at a whole ms.
        """
        first, last = (self._clock.moment((span + end) * _DAY_MS) for end in (0, 1))
        if first.utcoffset() != last.utcoffset() or first.microsecond % 1000:
            return None
        at_site = first.replace(tzinfo=None)
        since_ms = (at_site - datetime(1970, 1, 1)) // _MS
        return since_ms - span * _DAY_MS, first.isoformat().removeprefix(at_site.isoformat())


@lru_cache(maxsize=64)
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
