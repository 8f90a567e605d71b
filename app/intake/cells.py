"""Values of single cells. Each reader raises `CellError` saying what would be right."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

from app.contracts.base import LARGEST_COUNT, PITCH_PATTERN, RIGHT_BY_PATTERN
from app.contracts.jobs import DIE_CUT, INKJET, Layer, LeadingEdge, SpliceRule, Winding
from app.intake.cell_error import CellError
from app.intake.lines import Separators
from app.intake.numbers import number_in
from app.intake.spellings import COLOUR_WORDS, PITCH_WORDS, SPLICE_WORDS, WINDING_WORDS

_MOST_DECIMALS = 6
_LARGEST_NUMBER = 10**10


def whole_number(text: str, separators: Separators) -> int:
    """A count above 0; 12.500 is refused in any file, since exports write counts with decimals too."""
    right = "should be a whole number above 0, such as 12500, without separators"
    number = number_in(text, separators if separators is Separators.NONE else Separators.UNKNOWN)
    if number is None or number == 0 or number != number.to_integral_value():
        raise CellError(right)
    if number > LARGEST_COUNT:
        raise CellError(f"should be at most {LARGEST_COUNT:,}")
    return int(number)


def whole_number_or_zero(text: str, separators: Separators) -> int:
    """A count of at least 0."""
    return 0 if text == "0" else whole_number(text, separators)


def length_m(text: str, separators: Separators) -> Decimal:
    """Metres of stock: like counts, 1.200 is refused in any file."""
    return decimal_number(text, separators if separators is Separators.NONE else Separators.UNKNOWN)


def decimal_number(text: str, separators: Separators) -> Decimal:
    """A number of at least 0."""
    number = number_in(text, separators)
    if number is None or number >= _LARGEST_NUMBER or number != round(number, _MOST_DECIMALS):
        raise CellError("should be a number of at least 0, such as 2.5")
    return number


def percentage(text: str, separators: Separators) -> Decimal:
    """Percent, the sign left out or not; a cell that a spreadsheet shows as 5 % holds 0.05."""
    number = decimal_number(text.removesuffix("%").rstrip(), separators)
    if separators is Separators.NONE and 0 < number < 1:
        percent = f"{number * 100:f}".rstrip("0").rstrip(".")
        plain = f"{number:f}"
        raise CellError(f"could be {percent} % or {plain} %: write “{percent} %” or “{plain} %” as text")
    return number


def gear_pitch(text: str, _: Separators) -> str:
    """A pitch that teeth are cut in; the inch sign may stand for inches."""
    pitch = PITCH_WORDS.get(text.casefold(), text)
    if not re.fullmatch(PITCH_PATTERN, pitch):
        raise CellError(RIGHT_BY_PATTERN[PITCH_PATTERN])
    return pitch


_ANSWERS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


def yes_or_no(text: str) -> bool:
    """An answer."""
    if text.lower() not in _ANSWERS:
        raise CellError("should be yes or no")
    return _ANSWERS[text.lower()]


def colour_set(text: str) -> tuple[str, ...]:
    """Inkjet channels, such as CMYK+W: letters or words for them, parted by + where that reads better."""
    if not text:
        return ()
    channels = (_channels(part.strip()) for part in text.split("+"))
    return tuple(sorted(set("".join(channels))))


def _channels(part: str) -> str:
    word = COLOUR_WORDS.get(part.casefold())
    if word is not None:
        return word
    if not re.fullmatch(r"[A-Za-z]+", part):
        raise CellError("should be inkjet channels, one letter each, such as CMYK or CMYK+OV+W")
    return part.upper()


def splice_rule(text: str) -> SpliceRule:
    """Where a splice may lie."""
    word = SPLICE_WORDS.get(text.casefold())
    if word is None:
        raise CellError("should be anywhere, between versions or never")
    return SpliceRule(word)


_WINDING_PARTS = re.compile(r"[ ,;/-]+")
_UNSAID_OF_WINDING = ("wound", "print", "edge", "first", "leading", "leads")


def winding(text: str) -> Winding:
    """How labels are wound, such as `out left`; numbers of positions mean other edges on other charts."""
    parts = [part for part in _WINDING_PARTS.split(text.casefold()) if part not in _UNSAID_OF_WINDING]
    words = [WINDING_WORDS.get(part, "") for part in parts]
    sides = [word for word in words if word in ("in", "out")]
    edges = [word for word in words if word in tuple(LeadingEdge)]
    if len(words) != 2 or len(sides) != 1 or len(edges) != 1:
        raise CellError(
            "should say out or in, and the edge that comes off first: head, foot, left or right, such as "
            "“out left”; a position's number means another edge on another chart"
        )
    return Winding(outwards=sides[0] == "out", leading_edge=LeadingEdge(edges[0]))


NameLayer = Callable[[str], Layer | None]
"""The layer that a name alone stands for; None where it may be several or none."""


def layer_groups(text: str, name_layer: NameLayer) -> tuple[tuple[Layer, ...], ...]:
    """Layers in laying order: `kind:consumable` parted by ;, layers of free order joined by +."""
    if not text:
        return ()
    return tuple(tuple(_layer(part, name_layer) for part in group.split("+")) for group in text.split(";"))


def _layer(text: str, name_layer: NameLayer) -> Layer:
    kind, colon, consumable = (part.strip() for part in text.partition(":"))
    if kind == INKJET and not colon:
        return Layer(kind=INKJET)
    if kind == DIE_CUT:
        raise CellError("should not name the die: it comes last by itself")
    named = name_layer(kind) if kind and not colon else None
    if named is not None:
        return named
    if not kind or not consumable or ":" in consumable or kind == INKJET:
        raise CellError(
            "should list layers as kind:consumable, parted by ; in laying order, joined by + where the order "
            "is free, with inkjet alone marking its place"
        )
    return Layer(kind=kind, consumable=consumable)
