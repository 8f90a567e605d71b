"""When a line is open, and how work runs through its closures."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Calendar:
    """The closures of a line, in ms from the plan's start.

    Parameters
    ----------
    closures
        Half-open intervals `(start_ms, end_ms)`, sorted, neither touching nor overlapping.
    horizon_ms
        Until when closures are known; None where they are known for ever. Nothing is planned
        beyond it.
    """

    closures: tuple[tuple[int, int], ...] = ()
    horizon_ms: int | None = None

    def __post_init__(self) -> None:
        last_end_ms: int | None = None
        for start_ms, end_ms in self.closures:
            if end_ms <= start_ms:
                raise ValueError(f"calendar: closure {start_ms}–{end_ms} ms must end after it starts")
            if last_end_ms is not None and start_ms <= last_end_ms:
                raise ValueError(f"calendar: closure {start_ms}–{end_ms} ms must begin after the one before")
            last_end_ms = end_ms

    def next_open(self, at_ms: int) -> int:
        """First instant from `at_ms` on at which the line is open."""
        if not self.closures:
            return at_ms
        index = bisect_right(self.closures, (at_ms, _FAR_MS)) - 1
        if index >= 0 and at_ms < self.closures[index][1]:
            return self.closures[index][1]
        return at_ms

    def open_between(self, start_ms: int, end_ms: int) -> int:
        """Open time between two instants, in ms; 0 when they are in the wrong order."""
        if end_ms <= start_ms:
            return 0
        if not self.closures:
            return end_ms - start_ms
        index = bisect_right(self.closures, (start_ms, _FAR_MS)) - 1
        if index < 0 or self.closures[index][1] <= start_ms:
            index += 1
        closed_ms = 0
        while index < len(self.closures) and self.closures[index][0] < end_ms:
            closure_start_ms, closure_end_ms = self.closures[index]
            closed_ms += max(0, min(closure_end_ms, end_ms) - max(closure_start_ms, start_ms))
            index += 1
        return end_ms - start_ms - closed_ms

    def closure_from(self, at_ms: int) -> tuple[int, int] | None:
        """The first closure that starts at `at_ms` or later."""
        index = bisect_right(self.closures, (at_ms, -1))
        return self.closures[index] if index < len(self.closures) else None


_FAR_MS = 1 << 62
ALWAYS_OPEN = Calendar()
