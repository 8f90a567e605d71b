"""How long several hands take over the tasks of one stop, and who does which."""

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
    if hands < 1:
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


def make_ready_shares(durations_ms: tuple[Fraction, ...], hands: int) -> tuple[tuple[int, ...], ...]:
    """Who does what so that the stop takes its least time: for every hand the indices of its tasks, in order.

    Hands are told apart by their first tasks; one that has nothing to do is not there.
    """
    least_ms = make_ready_ms(durations_ms, hands)
    longest_first = sorted(range(len(durations_ms)), key=lambda idx: (-durations_ms[idx], idx))
    shares: list[list[int]] = [[] for _ in range(min(hands, len(durations_ms)))]
    loads_ms = [Fraction(0)] * len(shares)

    def assigned(place: int) -> bool:
        if place == len(longest_first):
            return True
        task_idx = longest_first[place]
        for hand in _unlike(loads_ms):
            if loads_ms[hand] + durations_ms[task_idx] <= least_ms:
                shares[hand].append(task_idx)
                loads_ms[hand] += durations_ms[task_idx]
                if assigned(place + 1):
                    return True
                loads_ms[hand] -= durations_ms[task_idx]
                shares[hand].pop()
        return False

    if not assigned(0):
        raise RuntimeError("the least time of a stop is that of some shares")
    return tuple(sorted(tuple(sorted(share)) for share in shares if share))


def _unlike(loads_ms: list[Fraction]) -> list[int]:
    """The hands of different load, least first: hands of the same load are alike."""
    first = {load_ms: hand for hand, load_ms in reversed(list(enumerate(loads_ms)))}
    return [first[load_ms] for load_ms in sorted(first)]


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
