"""Time counted as lines are open: from moments to open time and back."""

from __future__ import annotations

from itertools import accumulate

from solver.calendar import Calendar


class OpenHours:
    """The open time of a calendar from the plan's start on, in ms.

    Parameters
    ----------
    gaps
        For every closure behind the plan's start: open ms before it, and its length.
    """

    def __init__(self, calendar: Calendar) -> None:
        self._calendar = calendar
        self.gaps: tuple[tuple[int, int], ...] = tuple(
            (calendar.open_between(0, start_ms), end_ms - max(0, start_ms))
            for start_ms, end_ms in calendar.closures
            if end_ms > 0
        )
        closed_ms = accumulate((length_ms for _, length_ms in self.gaps), initial=0)
        self._closed_before_ms = tuple(closed_ms)

    def open_ms(self, at_ms: int) -> int:
        """Open time until a moment; of one before the plan's start its negative distance."""
        return at_ms if at_ms < 0 else self._calendar.open_between(0, at_ms)

    def moment_ms(self, open_ms: int) -> int:
        """The first moment at which so much open time has passed."""
        passed = sum(before_ms < open_ms for before_ms, _ in self.gaps)
        return open_ms + self._closed_before_ms[passed]
