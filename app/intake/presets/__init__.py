"""Kinds of line as they ship with the program: data files, and how to read them.

`<name>.json` is a plant in the format of plant files, without stocks and dies; `tables.json` holds usual
values of materials and consumables by the words of their names; `reasons.json` says of every value why
it is taken. All are invented: common practice of the trade, not those of a real shop or machine.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any

PRESETS = ("plain", "hybrid", "buffered-hybrid")
"""Names of the presets, from the plainest on."""

_FOR_ALL = "every preset"
_FOR_TABLES = "tables"


def preset_value(name: str) -> dict[str, Any]:
    """A preset as its plant file has it, to be changed at will."""
    value: dict[str, Any] = _read(f"{name}.json")
    return value


@cache
def usual_tables() -> dict[str, Any]:
    """Usual values of materials and consumables."""
    tables: dict[str, Any] = _read("tables.json")
    return tables


@dataclass(frozen=True, slots=True)
class Reason:
    """Why the values at some paths are what they are.

    `*` in a pattern stands for one index, key or part of a name, `**` for anything.
    """

    pattern: str
    text: str

    def covers(self, path: str) -> bool:
        return _regex(self.pattern).fullmatch(path) is not None


@cache
def reasons_of(name: str) -> tuple[Reason, ...]:
    """Reasons of a preset's values: its own before those of every preset; the first that covers counts."""
    return tuple(_reasons(name)) + tuple(_reasons(_FOR_ALL))


def reason_for(name: str, path: str) -> str | None:
    """Why a preset's value is what it is; None where no reason is known."""
    return next((reason.text for reason in reasons_of(name) if reason.covers(path)), None)


@cache
def table_reasons() -> dict[str, str]:
    """Reasons of the usual tables' values, by field."""
    return {reason.pattern: reason.text for reason in _reasons(_FOR_TABLES)}


def _reasons(section: str) -> Iterator[Reason]:
    for pattern, text in _read("reasons.json")[section]:
        yield Reason(pattern, text)


@cache
def _regex(pattern: str) -> re.Pattern[str]:
    any_text, one_part = ".*", r"[^.\[\]]*"
    parts = re.split(r"(\*\*|\*)", pattern)
    wild = {"**": any_text, "*": one_part}
    return re.compile("".join(wild.get(part, re.escape(part)) for part in parts))


def _read(file: str) -> Any:
    text = files(__name__).joinpath(file).read_text(encoding="utf-8")
    return json.loads(text, parse_float=Decimal)
