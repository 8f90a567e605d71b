"""Dates and times as people write them, where only one reading is possible."""

from __future__ import annotations

import calendar
import re
from datetime import date, datetime, time, timedelta

from pydantic_core import PydanticCustomError

from app.contracts.base import FIRST_YEAR, LAST_YEAR, parse_moment
from app.intake.cell_error import CellError

_CLOCK = r"(?:[ T,]+(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})(?::(?P<second>[0-9]{2}))?)?"
_PARTED = re.compile(
    rf"(?P<first>[0-9]{{1,2}})(?P<mark>[./-])(?P<other>[0-9]{{1,2}})(?P=mark)(?P<year>[0-9]+){_CLOCK}"
)
_YEAR_FIRST = re.compile(
    rf"(?P<year>[0-9]{{4}})(?P<mark>[./-])(?P<month>[0-9]{{1,2}})(?P=mark)(?P<day>[0-9]{{1,2}}){_CLOCK}"
)
_ISO_DAY = re.compile(r"(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})(?![0-9])")


def due_moment(text: str) -> datetime:
    """A date and time; a date alone is the end of that day."""
    found = _moment_or_day(text)
    return found if isinstance(found, datetime) else datetime.combine(found + timedelta(days=1), time())


def ready_moment(text: str) -> datetime:
    """A date and time; a date alone is the beginning of that day."""
    found = _moment_or_day(text)
    return found if isinstance(found, datetime) else datetime.combine(found, time())


def _moment_or_day(text: str) -> datetime | date:
    """What a text says: ISO 8601, 2027/03/01, 01.03.2027 or 13/03/2027, each with or without a time.

    Points part day, month, year in that order; slashes and dashes do so in two orders, so such a date is
    read only where one of them is possible.
    """
    iso = _ISO_DAY.match(text)
    if iso:
        _existing_day(int(iso["year"]), int(iso["month"]), int(iso["day"]))
    year_first = _YEAR_FIRST.fullmatch(text)
    if year_first:
        return _on(year_first, int(year_first["month"]), int(year_first["day"]))
    parted = _PARTED.fullmatch(text)
    if parted:
        month, day = _month_and_day(parted)
        return _on(parted, month, day)
    return _iso(text)


def _on(found: re.Match[str], month: int, day: int) -> datetime | date:
    on = _existing_day(int(found["year"]), month, day)
    if found["hour"] is None:
        return on
    try:
        return datetime.combine(on, time(int(found["hour"]), int(found["minute"]), int(found["second"] or 0)))
    except ValueError:
        raise CellError("should be a time of day from 00:00 to 23:59") from None


def _month_and_day(parted: re.Match[str]) -> tuple[int, int]:
    first, other = int(parted["first"]), int(parted["other"])
    if len(parted["year"]) != 4:
        raise CellError("should give the year in four digits, such as 2027-03-01T13:00")
    if parted["mark"] == "." or first > 12 or first == other:
        return other, first
    if other > 12:
        return first, other
    year = parted["year"]
    raise CellError(
        f"could be {year}-{other:02}-{first:02} or {year}-{first:02}-{other:02}: "
        f"write a date and time such as {year}-{other:02}-{first:02}T13:00"
    )


def _existing_day(year: int, month: int, day: int) -> date:
    if not FIRST_YEAR <= year < LAST_YEAR:
        raise CellError(f"should lie in the years {FIRST_YEAR} to {LAST_YEAR}")
    if not 1 <= month <= 12:
        raise CellError(f"there is no month {month}; should be a date and time such as 2027-03-01T13:00")
    most = calendar.monthrange(year, month)[1]
    if not 1 <= day <= most:
        raise CellError(
            f"there is no such day, {calendar.month_name[month]} {year} has {most}; "
            "should be a date and time such as 2027-03-01T13:00"
        )
    return date(year, month, day)


def _iso(text: str) -> datetime | date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        try:
            return parse_moment(text)
        except PydanticCustomError as error:
            raise CellError(error.message()) from None
    return _existing_day(day.year, day.month, day.day)
