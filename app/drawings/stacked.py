"""Drawings below each other as one, which stands by itself: with its fonts, on white."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from xml.etree.ElementTree import fromstring

from markupsafe import Markup

from app.drawings.svg import TEXT_MM, drawing, element, text, text_width_mm

GAP_MM = 3.0
FONTS = "Liberation Sans, Arial, Helvetica, sans-serif"
EDGE_MM = 3.0


def stacked(name: str, drawings: Iterable[Markup]) -> Markup:
    """Drawings of one subject, from the first at the top; where there is none, its name in words.

    Parameters
    ----------
    name
        Read out instead of it.
    drawings
        As `drawing` makes them; the ids inside differ.
    """
    parts = [_Part.of(each) for each in drawings]
    if not parts:
        words = text(EDGE_MM, EDGE_MM + TEXT_MM, name)
        return _whole(name, text_width_mm(name), TEXT_MM + EDGE_MM, [words])
    placed: list[Markup] = []
    top_mm = EDGE_MM
    for part in parts:
        placed.append(part.at(EDGE_MM, top_mm))
        top_mm += part.height_mm + GAP_MM
    return _whole(name, max(part.width_mm for part in parts), top_mm - GAP_MM, placed)


def _whole(name: str, width_mm: float, height_mm: float, parts: Iterable[Markup]) -> Markup:
    width_mm, height_mm = width_mm + 2 * EDGE_MM, height_mm + EDGE_MM
    ground = element("rect", width=width_mm, height=height_mm, fill="#ffffff")
    return drawing(name, width_mm, height_mm, ground, element("g", *parts, font_family=FONTS))


@dataclass(frozen=True, slots=True)
class _Part:
    """A drawing that is to stand in another."""

    name: str
    width_mm: float
    height_mm: float
    inside: Markup

    @classmethod
    def of(cls, one: Markup) -> _Part:
        opening, _, inside = one.partition(">")
        head = fromstring(f"{opening}/>").attrib
        _, _, width_mm, height_mm = map(float, head["viewBox"].split())
        return cls(head["aria-label"], width_mm, height_mm, inside.removesuffix("</svg>"))

    def at(self, left_mm: float, top_mm: float) -> Markup:
        """The drawing at a place of the other, whose lengths are mm already."""
        return element(
            "svg",
            self.inside,
            x=left_mm,
            y=top_mm,
            width=self.width_mm,
            height=self.height_mm,
            viewBox=f"0 0 {self.width_mm:g} {self.height_mm:g}",
            role="img",
            aria_label=self.name,
        )
