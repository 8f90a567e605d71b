"""How long several hands take over the tasks of one stop."""

from __future__ import annotations

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
    return _exact_ms(tuple(sorted(durations_ms, reverse=True)), hands)


@lru_cache(maxsize=65_536)
def _exact_ms(longest_first_ms: tuple[Fraction, ...], hands: int) -> Fraction:
    total_ms = sum(longest_first_ms, Fraction(0))
    bound_ms = max(longest_first_ms[0], total_ms / hands)
    best_ms = total_ms

    def assign(task_idx: int, loads_ms: tuple[Fraction, ...]) -> None:
        nonlocal best_ms
        if best_ms == bound_ms:
            return
        if task_idx == len(longest_first_ms):
            best_ms = min(best_ms, max(loads_ms))
            return
        for load_ms in sorted(set(loads_ms)):
            hand = loads_ms.index(load_ms)
            grown_ms = load_ms + longest_first_ms[task_idx]
            if grown_ms < best_ms:
                assign(task_idx + 1, (*loads_ms[:hand], grown_ms, *loads_ms[hand + 1 :]))

    assign(0, (Fraction(0),) * hands)
    return best_ms
