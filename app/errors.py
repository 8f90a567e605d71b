"""What can go wrong between people and the program, each with what would be right.

RunwrightError
├── BadInput        files or options that cannot be taken, with every fault found
└── NothingCanRun   a queue of which no job can be placed
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong in the input.

    Parameters
    ----------
    right
        What would be right, in words that can be acted on.
    file
        The file it stands in; None for an option.
    row
        Row of a table, counted as a spreadsheet counts: the heading is row 1.
    field
        Column, or path inside a JSON file.
    value
        What was found there, as text; None where nothing was.
    """

    right: str
    file: str | None = None
    row: int | None = None
    field: str | None = None
    value: str | None = None

    def __str__(self) -> str:
        place = [self.file] if self.file else []
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.field:
            place.append(self.field)
        where = ", ".join(place)
        found = f" “{_shortened(self.value)}”" if self.value is not None else ""
        return f"{where}{found}: {self.right}" if where or found else self.right


class RunwrightError(Exception):
    """Anything the program refuses or cannot do, with a text for people."""


class BadInput(RunwrightError):
    """Input that cannot be taken. Nothing of it was used; mend every fault and try again."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class NothingCanRun(RunwrightError):
    """No job of the queue can be placed on any line."""

    def __init__(self, reasons: Iterable[str] = ()) -> None:
        self.reasons = tuple(reasons)
        super().__init__("\n".join(("No job of the queue can run.", *self.reasons)))


_LONGEST_VALUE = 60


def _shortened(text: str) -> str:
    return text if len(text) <= _LONGEST_VALUE else f"{text[: _LONGEST_VALUE - 1]}…"
