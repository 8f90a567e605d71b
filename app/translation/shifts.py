"""The shifts of a line: its open time, parted by closures that are long enough.

A break or a briefing does not change the crew, a night does. Where the line is between the two is our own
choice, no source: a closure of an hour parts shifts.
"""

from __future__ import annotations

from dataclasses import dataclass

from solver.calendar import Calendar

PARTING_CLOSURE_MS = 3_600_000
"""A closure of at least so long ends a shift."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Open time from `from_ms` up to before `to_ms`; None: it never ends. `breaks` are closures inside."""

    from_ms: int
    to_ms: int | None
    breaks: tuple[tuple[int, int], ...] = ()

    def overlaps(self, begin_ms: int, end_ms: int) -> bool:
        """Whether some of a time falls into it."""
        return end_ms > self.from_ms and (self.to_ms is None or begin_ms < self.to_ms)


def shifts_until(calendar: Calendar, last_ms: int) -> tuple[Shift, ...]:
    """A line's shifts from the plan's start on, until the one that holds `last_ms`; at least one."""
    shifts: list[Shift] = []
    from_ms = calendar.next_open(0)
    breaks: list[tuple[int, int]] = []
    for closed_ms, open_ms in calendar.closures:
        if closed_ms < from_ms:
            continue
        if open_ms - closed_ms < PARTING_CLOSURE_MS:
            breaks.append((closed_ms, open_ms))
            continue
        shifts.append(Shift(from_ms, closed_ms, tuple(breaks)))
        from_ms, breaks = open_ms, []
        if last_ms < from_ms:
            return tuple(shifts)
    return (*shifts, Shift(from_ms, None, tuple(breaks)))


def shift_at(shifts: tuple[Shift, ...], at_ms: int, ending: bool = False) -> int:
    """Number, from 0, of the shift in which something falls.

    Parameters
    ----------
    ending
        Whether what happens is that a time ends: it belongs to the shift that then closes, all else to the
        one that begins.
    """
    begun = [
        number
        for number, shift in enumerate(shifts)
        if shift.from_ms < at_ms or (shift.from_ms == at_ms and not ending)
    ]
    return begun[-1] if begun else 0
