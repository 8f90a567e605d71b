"""How kinds of web, of time and of cost are told apart: by a colour and by a hatch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from markupsafe import Markup

from app.drawings.svg import INK, Attribute, drawing, element, line, text, text_width_mm, titled

TILE_MM = 1.6


class Hatch(StrEnum):
    """Lines on a fill, as an SVG path over a tile of 2 × 2."""

    NONE = ""
    RISING = "M-.5 .5 .5 -.5M0 2 2 0M1.5 2.5 2.5 1.5"
    FALLING = "M-.5 1.5 .5 2.5M0 0 2 2M1.5 -.5 2.5 .5"
    CROSSED = "M0 2 2 0M0 0 2 2"
    UPRIGHT = "M1 0V2"
    LEVEL = "M0 1H2"
    DOTTED = "M.8 1H1.2"


@dataclass(frozen=True, slots=True)
class Fill:
    """A colour with a hatch on it."""

    colour: str
    hatch: Hatch = Hatch.NONE


UNKNOWN = Fill("#d5d5d5", Hatch.FALLING)

WEB_FILLS: Mapping[str, Fill] = {
    "sellable": Fill("#d3e4ea"),
    "spoilage allowance": Fill("#d3e4ea", Hatch.DOTTED),
    "set-up strip": Fill("#f4cf8b", Hatch.RISING),
    "outgoing blank": Fill("#ffffff", Hatch.LEVEL),
    "restart spoil": Fill("#eeb0a5", Hatch.CROSSED),
    "splice": Fill("#1f2528"),
    "start-up": Fill("#d6c8e8", Hatch.UPRIGHT),
}
"""Kinds of the web ledger."""

TIME_FILLS: Mapping[str, Fill] = {
    "run": Fill("#d3e4ea"),
    "late run": Fill("#eeb0a5", Hatch.CROSSED),
    "changeover": Fill("#f4cf8b", Hatch.RISING),
    "wait": Fill("#ffffff", Hatch.LEVEL),
    "closure": Fill("#c9ced1", Hatch.FALLING),
    "cleaning": Fill("#d6c8e8", Hatch.UPRIGHT),
}
"""Kinds of a line's time."""

COST_FILLS: Mapping[str, Fill] = {
    "wasted web": Fill("#f4cf8b", Hatch.RISING),
    "changeovers": Fill("#d3e4ea", Hatch.UPRIGHT),
    "waiting": Fill("#ffffff", Hatch.LEVEL),
    "late jobs": Fill("#eeb0a5", Hatch.CROSSED),
    "moved runs": Fill("#cfc4e3", Hatch.FALLING),
    "stubs": Fill("#dfe3b4", Hatch.DOTTED),
}
"""Parts of the cost that an order can change."""


class Palette:
    """The fills of one drawing. Its prefix keeps the patterns' ids apart within a page."""

    def __init__(self, prefix: str, fills: Mapping[str, Fill]) -> None:
        self._prefix = prefix
        self._fills = fills
        self._used: dict[Fill, str] = {}

    def fill(self, kind: str) -> str:
        """The value of a `fill` attribute."""
        fill = self._fills.get(kind, UNKNOWN)
        if not fill.hatch:
            return fill.colour
        return f"url(#{self._used.setdefault(fill, f'{self._prefix}-{len(self._used)}')})"

    def definitions(self) -> Markup:
        """The patterns asked for so far."""
        return element("defs", *(_pattern(pattern_id, fill) for fill, pattern_id in self._used.items()))


def mark(
    palette: Palette, kind: str, left_mm: float, top_mm: float, width_mm: float, height_mm: float, title: str
) -> Markup:
    """A rectangle in the fill of its kind, with its title."""
    edges: dict[str, Attribute] = {"x": left_mm, "y": top_mm, "width": width_mm, "height": height_mm}
    return element("rect", titled(title), **edges, fill=palette.fill(kind), stroke=INK, stroke_width=0.12)


def legend(prefix: str, fills: Mapping[str, Fill], kinds: Iterable[str], width_mm: float) -> Markup:
    """The fills of the kinds that occur, with their names."""
    palette = Palette(prefix, fills)
    marks: list[Markup] = []
    left_mm, top_mm = 0.2, 0.5
    for kind in kinds:
        entry_mm = 9 + text_width_mm(kind)
        if left_mm + entry_mm > width_mm:
            left_mm, top_mm = 0.2, top_mm + 6
        marks += [mark(palette, kind, left_mm, top_mm, 6, 4, kind), text(left_mm + 7, top_mm + 3, kind)]
        left_mm += entry_mm
    return drawing("Legend", width_mm, top_mm + 5, palette.definitions(), *marks)


def _pattern(pattern_id: str, fill: Fill) -> Markup:
    return element(
        "pattern",
        element("rect", width=2, height=2, fill=fill.colour),
        element("path", d=fill.hatch.value, stroke=INK, stroke_width=0.28, fill="none"),
        id=pattern_id,
        width=2,
        height=2,
        patternUnits="userSpaceOnUse",
        patternTransform=f"scale({TILE_MM / 2})",
    )


def tick(x_mm: float, top_mm: float, height_mm: float, words: str, anchor: str = "middle") -> Markup:
    """A mark on an axis with its value below."""
    return line(x_mm, top_mm, x_mm, top_mm + height_mm) + text(
        x_mm, top_mm + height_mm + 2.6, words, text_anchor=anchor
    )
