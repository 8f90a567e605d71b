"""Gather everything that is wrong with a value, then refuse it once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction


@dataclass
class Checks:
    """Collects complaints about one subject; `done` raises them all as one `ValueError`."""

    subject: str
    complaints: list[str] = field(default_factory=list)

    def that(self, holds: bool, complaint: str) -> None:
        """Note `complaint` unless it holds."""
        if not holds:
            self.complaints.append(f"{self.subject}: {complaint}")

    def not_negative(self, name: str, value: int | Fraction) -> None:
        self.that(value >= 0, f"{name} must not be negative, is {value}")

    def positive_or_none(self, name: str, value: int | Fraction | None) -> None:
        self.that(value is None or value > 0, f"{name} must be above 0, is {value}")

    def member(self, name: str, value: str, allowed: Iterable[str]) -> None:
        allowed = tuple(allowed)
        self.that(value in allowed, f"{name} must be one of {', '.join(allowed)}, is {value!r}")

    def unique(self, name: str, values: Iterable[str | int]) -> None:
        seen: set[str | int] = set()
        for value in values:
            self.that(value not in seen, f"{name} holds {value!r} twice")
            seen.add(value)

    def done(self) -> None:
        """Raise `ValueError` with every complaint, if there is one."""
        if self.complaints:
            raise ValueError("\n".join(self.complaints))
