"""Elements of a drawing. Coordinates are mm on paper; every text is escaped."""

from __future__ import annotations

from unicodedata import east_asian_width

from markupsafe import Markup, escape

INK = "#1f2528"
"""Lines and texts: 15 : 1 on white."""

TEXT_MM = 2.7
"""Usual height of a text."""

_USUAL_LETTER, _CAPITAL, _WIDE_LETTER = 0.57, 0.72, 1.0
"""Width of a letter by the height of its text: a little above those of the usual sans-serif fonts."""

Attribute = str | float


def element(tag: str, *children: str, **attributes: Attribute) -> Markup:
    """An element; a child that is not markup is text. `_` in an attribute's name stands for `-`."""
    written = Markup("").join(
        Markup(' {}="{}"').format(name.strip("_").replace("_", "-"), _written(value))
        for name, value in attributes.items()
    )
    inside = Markup("").join(escape(child) for child in children)
    return Markup("<{}{}>{}</{}>").format(Markup(tag), written, inside, Markup(tag))


def drawing(name: str, width_mm: float, height_mm: float, *children: str) -> Markup:
    """A whole drawing; its name is read out instead of it."""
    return element(
        "svg",
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {_written(width_mm)} {_written(height_mm)}",
        width=f"{_written(width_mm)}mm",
        height=f"{_written(height_mm)}mm",
        role="img",
        aria_label=name,
    )


def titled(title: str) -> Markup:
    """What a mark says when pointed at."""
    return element("title", title)


def text(x_mm: float, y_mm: float, words: str, **attributes: Attribute) -> Markup:
    """Words on a base line."""
    place: dict[str, Attribute] = {"x": x_mm, "y": y_mm, "font_size": TEXT_MM, "fill": INK}
    return element("text", words, **place | attributes)


def line(x1_mm: float, y1_mm: float, x2_mm: float, y2_mm: float, **attributes: Attribute) -> Markup:
    """A straight line."""
    ends: dict[str, Attribute] = {"x1": x1_mm, "y1": y1_mm, "x2": x2_mm, "y2": y2_mm}
    return element("line", **ends | {"stroke": INK, "stroke_width": 0.2} | attributes)


def text_width_mm(words: str, height_mm: float = TEXT_MM) -> float:
    """About how wide words are."""
    return sum(_letter_width(letter) for letter in words) * height_mm


def _letter_width(letter: str) -> float:
    if letter in "MW@%…" or east_asian_width(letter) in "WF":
        return _WIDE_LETTER
    return _CAPITAL if letter.isupper() else _USUAL_LETTER


def first_that_fits(wordings: tuple[str, ...], width_mm: float) -> str:
    """The first wording that fits into a width; empty where none does."""
    return next((words for words in wordings if text_width_mm(words) <= width_mm), "")


def _written(value: Attribute) -> str:
    if isinstance(value, str):
        return value
    return f"{value:.3f}".rstrip("0").rstrip(".")
