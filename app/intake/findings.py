"""What was found while reading: faults, which stop, and notes, which are told."""

from __future__ import annotations

from dataclasses import dataclass, field

from app.errors import Fault


@dataclass
class Findings:
    """Faults and notes of all files read so far."""

    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def fault(
        self,
        file: str | None,
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


MOST_FAULTS = 500
"""So many faults in one table are enough to mend before its other rows are looked at."""
