"""Values of single cells. Each reader raises `CellError` saying what would be right."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from pydantic_core import PydanticCustomError

from app.contracts.base import FIRST_YEAR, LARGEST_COUNT, LAST_YEAR, parse_moment
from app.contracts.jobs import DIE_CUT, INKJET, Layer


class CellError(ValueError):
    """A cell that cannot be read; its text says what would be right."""


def whole_number(text: str) -> int:
    """A count above 0."""
    if not re.fullmatch(r"[0-9]{1,20}", text) or int(text) == 0:
        raise CellError("should be a whole number above 0, such as 12500, without separators")
    if int(text) > LARGEST_COUNT:
        raise CellError(f"should be at most {LARGEST_COUNT:,}")
    return int(text)


def decimal_number(text: str) -> Decimal:
    """A number of at least 0, with a point."""
    if not re.fullmatch(r"[0-9]{1,10}(\.[0-9]{1,6})?", text):
        raise CellError("should be a number of at least 0, such as 2.5, with a point")
    return Decimal(text)


_ANSWERS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


def yes_or_no(text: str) -> bool:
    """An answer."""
    if text.lower() not in _ANSWERS:
        raise CellError("should be yes or no")
    return _ANSWERS[text.lower()]


def due_moment(text: str) -> datetime:
    """A date and time; a date alone is the end of that day."""
    day = _day(text)
    return parsed_moment(text) if day is None else datetime.combine(day + timedelta(days=1), time())


def ready_moment(text: str) -> datetime:
    """A date and time; a date alone is the beginning of that day."""
    day = _day(text)
    return parsed_moment(text) if day is None else datetime.combine(day, time())


def parsed_moment(text: str) -> datetime:
    """A date and time."""
    try:
        return parse_moment(text)
    except PydanticCustomError as error:
        raise CellError(error.message()) from None


def _day(text: str) -> date | None:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day if FIRST_YEAR <= day.year < LAST_YEAR else None


def colour_set(text: str) -> tuple[str, ...]:
    """Inkjet channels, such as CMYK+W: a set of letters, parted by + where that reads better."""
    if not text:
        return ()
    parts = [part.strip() for part in text.split("+")]
    if not all(re.fullmatch(r"[A-Za-z]+", part) for part in parts):
        raise CellError("should be inkjet channels, one letter each, such as CMYK or CMYK+OV+W")
    return tuple(sorted(set("".join(parts).upper())))


def layer_groups(text: str) -> tuple[tuple[Layer, ...], ...]:
    """Layers in laying order: `kind:consumable` parted by ;, layers of free order joined by +."""
    if not text:
        return ()
    return tuple(tuple(_layer(part) for part in group.split("+")) for group in text.split(";"))


def _layer(text: str) -> Layer:
    kind, colon, consumable = (part.strip() for part in text.partition(":"))
    if kind == INKJET and not colon:
        return Layer(kind=INKJET)
    if kind == DIE_CUT:
        raise CellError("should not name the die: it comes last by itself")
    if not kind or not consumable or ":" in consumable or kind == INKJET:
        raise CellError(
            "should list layers as kind:consumable, parted by ; in laying order, joined by + where the order "
            "is free, with inkjet alone marking its place"
        )
    return Layer(kind=kind, consumable=consumable)
