"""Figures and times as people read them."""

from __future__ import annotations

from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal

LEAST_SHOWN_M = 0.01
MOST_SHOWN_M = 10_000


def tenths(value: Decimal) -> str:
    """A length or time to a tenth: 1,234.5."""
    return f"{value.quantize(Decimal('0.1'), ROUND_HALF_UP):,}"


def cents(value: Decimal) -> str:
    """Money to the cent: 1,234.50."""
    return f"{value.quantize(Decimal('0.01'), ROUND_HALF_UP):,}"


def cents_if_any(value: Decimal | None) -> str:
    """Money to the cent; – where there is none."""
    return "–" if value is None else cents(value)


def percent(share: float | None) -> str:
    """A share of 1 in percent; – where there is none."""
    return "–" if share is None else f"{share:.1%}"


def worth(length_m: float) -> str:
    """Metres a minute is worth; a goal that hardly counts one of the two makes them tiny or vast."""
    if length_m < LEAST_SHOWN_M:
        return f"less than {LEAST_SHOWN_M} m"
    if length_m > MOST_SHOWN_M:
        return f"more than {MOST_SHOWN_M:,} m"
    return f"{length_m:,.2f} m"


def full_time(moment: datetime) -> str:
    """Mon 1 Mar 2027 06:00 +0100."""
    return f"{moment:%a} {moment.day} {moment:%b %Y %H:%M %z}"


def plain(value: Decimal | None) -> str:
    """A number for other programs: 7 or 7.5, never 7.50; nothing where there is none."""
    return "" if value is None else f"{value.normalize():f}"


def read_on_site(whose: str, moment: datetime, zone: str) -> str:
    """That a time without an offset was read on the site's clock."""
    return f"{whose} is read on the site's clock: {full_time(moment)} ({zone})."


def clock_on(day: date | None, moment: datetime) -> str:
    """06:00 on that day, Mon 06:00 on others."""
    return f"{moment:%H:%M}" if moment.date() == day else f"{moment:%a %H:%M}"
