"""How long several hands take over the tasks of one stop."""

from __future__ import annotations

import math
from fractions import Fraction
from functools import lru_cache

from solver.checks import Checks


def make_ready_ms(durations_ms: tuple[Fraction, ...], hands: int) -> Fraction:
    """Least time in which `hands` people finish the tasks, each task done by one person.

    Exact (the problem P||Cmax): 3, 3, 2, 2, 2 minutes on two hands take 6, where giving the longest
    task to the first free hand takes 7.
    """
    checks = Checks("make-ready")
    checks.positive_or_none("hands", hands)
    checks.done()
    if not durations_ms:
        return Fraction(0)
    if hands == 1:
        return sum(durations_ms, Fraction(0))
    if hands >= len(durations_ms):
        return max(durations_ms)
    unit = math.lcm(*(duration_ms.denominator for duration_ms in durations_ms))
    whole = sorted((int(duration_ms * unit) for duration_ms in durations_ms), reverse=True)
    return Fraction(_least_makespan(tuple(whole), hands), unit)


@lru_cache(maxsize=65_536)
def _least_makespan(longest_first: tuple[int, ...], hands: int) -> int:
    """Branch and bound: tasks one by one to every hand with another load."""
    bound = max(longest_first[0], -(-sum(longest_first) // hands))
    best = sum(longest_first)

    def assign(task_idx: int, loads: tuple[int, ...]) -> None:
        nonlocal best
        if best == bound:
            return
        if task_idx == len(longest_first):
            best = min(best, max(loads))
            return
        for load in sorted(set(loads)):
            hand = loads.index(load)
            grown = load + longest_first[task_idx]
            if grown < best:
                assign(task_idx + 1, (*loads[:hand], grown, *loads[hand + 1 :]))

    assign(0, (0,) * hands)
    return best
