"""Exact make-ready time of a stop's tasks on several hands."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction


def make_ready_ms(durations_ms: Sequence[Fraction], hands: int) -> Fraction:
    """The least time after which all tasks are done, each by one hand without a break.

    Walks through every way of handing out the tasks; hands are alike, so sorted loads tell them apart.
    """
    if not durations_ms:
        return Fraction(0)
    if hands >= len(durations_ms):
        return max(durations_ms)
    loads = {(Fraction(0),) * hands}
    for duration_ms in durations_ms:
        loads = {
            tuple(sorted((*load[:hand], load[hand] + duration_ms, *load[hand + 1 :])))
            for load in loads
            for hand in range(hands)
        }
    return min(load[-1] for load in loads)
