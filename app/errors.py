"""What can go wrong between people and the program, each with what would be right.

RunwrightError
├── BadInput        files or options that cannot be taken, with every fault found
├── NothingCanRun   a queue of which no job can be placed
├── Conflict        what is stored speaks against it
├── NotAllowed      whoever asks may not do that
├── Unavailable     a part that is needed does not answer; later it may
└── StoreError      what a database cannot do
    ├── NotMigrated      its tables are not of the program's version
    ├── NotStored        there is no such thing
    ├── OlderRevision    newer ones than were sent are stored
    ├── VersionConflict  something was changed since it was read, or is not as it was taken to be
    └── RestoreRefused   a backup that cannot be taken, or a database that is not empty
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


class Conflict(RunwrightError):
    """What is stored speaks against it; the message says what would have to be otherwise, the faults, if
    there are any, one by one.
    """

    def __init__(self, message: str, faults: Iterable[Fault] = ()) -> None:
        self.faults = tuple(faults)
        super().__init__(message)


class NotAllowed(RunwrightError):
    """Whoever asks may not do that; the message says who may."""


class Unavailable(RunwrightError):
    """A part that is needed does not answer.

    Parameters
    ----------
    message
        What does not answer.
    again_s
        After how many seconds to ask again.
    """

    def __init__(self, message: str, again_s: int = 5) -> None:
        self.again_s = again_s
        super().__init__(message)


class StoreError(RunwrightError):
    """What a database cannot do, with what to do about it."""


class NotMigrated(StoreError):
    """The tables are not of the program's version."""


class RestoreRefused(StoreError):
    """A backup that cannot be taken, or a database that is not empty. Nothing was written."""


class NotStored(StoreError):
    """There is no such thing."""

    def __init__(self, resource: str, key: str) -> None:
        self.resource, self.key = resource, key
        super().__init__(f"{resource} has no “{key}”")


class OlderRevision(StoreError):
    """Newer revisions than were sent are stored. Nothing was written."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class VersionConflict(StoreError):
    """Something was changed since it was read, is there already, or is gone.

    Parameters
    ----------
    current
        The version that is stored; None where nothing is.
    """

    def __init__(self, resource: str, key: str, asked: int | None, current: int | None) -> None:
        self.resource, self.key, self.asked, self.current = resource, key, asked, current
        super().__init__(f"{resource} “{key}” {self._how()}")

    def _how(self) -> str:
        if self.current is None:
            return "is not there, or not any more: leave the version out to make it anew"
        if self.asked is None:
            return f"is there already, at version {self.current}: name that version to change it"
        return f"is at version {self.current}, not {self.asked}: read it again and repeat the change"


_LONGEST_VALUE = 60


def _shortened(text: str) -> str:
    return text if len(text) <= _LONGEST_VALUE else f"{text[: _LONGEST_VALUE - 1]}…"
