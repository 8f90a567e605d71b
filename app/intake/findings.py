"""What was found while reading: faults, which stop, and notes, which are told."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field

from app.errors import Fault


@dataclass
class Findings:
    """Faults and notes of all files read so far."""

    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def fault(
        self,
        file: str,
        right: str,
        *,
        row: int | None = None,
        field: str | None = None,
        value: str | None = None,
    ) -> None:
        """Note something that is wrong and what would be right."""
        self.faults.append(Fault(right, file=file, row=row, field=field, value=value))

    def note(self, text: str) -> None:
        """Note something that was assumed, once."""
        if text not in self.notes:
            self.notes.append(text)


MOST_KNOWN_SHOWN = 12
LONGEST_COMPARED = 100
MOST_FAULTS = 500
"""So many faults in one table are enough to mend before its other rows are looked at."""


def unknown(what: str, value: str, known: Iterable[str]) -> str:
    """Say that a name is unknown, with the nearest known one or all there are."""
    names = sorted(known)
    if len(value) > LONGEST_COMPARED:
        return f"unknown {what}"
    near = difflib.get_close_matches(value, names, n=1, cutoff=0.5)
    if not near:
        folded = {name.casefold(): name for name in names}
        near = [folded[value.casefold()]] if value.casefold() in folded else []
    if near:
        return f"unknown {what}; the nearest known one is “{near[0]}”"
    if not names:
        return f"unknown {what}; there is none in the plant file"
    shown = ", ".join(names[:MOST_KNOWN_SHOWN])
    more = f" and {len(names) - MOST_KNOWN_SHOWN} more" if len(names) > MOST_KNOWN_SHOWN else ""
    return f"unknown {what}; known are {shown}{more}"
