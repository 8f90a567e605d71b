"""What pages have in common: templates that escape every text, their filters, their styles."""

from __future__ import annotations

from importlib import resources

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from app.documents import figures
from app.drawings.cost_bars import cost_causes
from app.drawings.labels import day_and_clock

LONG_WORD = 20
"""Letters of a word that stay together."""


def environment() -> Environment:
    """Where the templates of pages are found and filled."""
    found = Environment(
        loader=PackageLoader("app.documents"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters |= {
        "tenths": figures.tenths,
        "cents": figures.cents,
        "cents_if_any": figures.cents_if_any,
        "share": figures.percent,
        "worth": figures.worth,
        "moment": day_and_clock,
        "full_moment": figures.full_time,
        "causes": cost_causes,
        "breakable": breakable,
    }
    return found


def style_of(name: str) -> str:
    """A style sheet of the templates."""
    return (resources.files("app.documents") / "templates" / name).read_text(encoding="utf-8")


def breakable(words: str) -> Markup:
    """Words that may be broken where one is too long for a cell; nothing is added to what they say."""
    return Markup(" ").join(
        Markup("<wbr>").join(word[start : start + LONG_WORD] for start in range(0, len(word), LONG_WORD))
        for word in words.split(" ")
    )
