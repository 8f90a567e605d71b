"""Every change of a line's order from a list, one after the other: what a local optimum is measured by."""

from __future__ import annotations

from solver.search.kernels.address_book import plan_rows
from solver.search.kernels.compiled import part
from solver.search.kernels.line_changes import exchange, seat, swap_runs
from solver.search.kernels.line_walk import Walk
from solver.search.kernels.tables import Ints

LONGEST_SHIFTED = 3
"""Runs that are shifted together."""
FARTHEST, FARTHEST_OF_MANY, MANY = 100, 30, 300
"""How far runs are shifted, and how far in orders longer than `MANY`; behind near jobs any distance."""


@part
def changes_of_position(walk: Walk, near: Ints, job_plans: Ints) -> int:
    """How many changes there are for every position."""
    shifts_and_swaps = (2 * LONGEST_SHIFTED + 1) * _reach(walk)
    return int(shifts_and_swaps + LONGEST_SHIFTED * near.shape[1] + _most_choices(job_plans))


@part
def _reach(walk: Walk) -> int:
    count = walk.order.shape[0]
    return int(min(count - 1, FARTHEST if count <= MANY else FARTHEST_OF_MANY))


@part
def _most_choices(job_plans: Ints) -> int:
    most = 0
    for job in range(job_plans.shape[0]):
        most = max(most, job_plans[job, 1] - job_plans[job, 0])
    return most


@part
def listed_change(
    book: Ints, walk: Walk, near: Ints, job_plans: Ints, position: int, number: int
) -> tuple[int, int]:
    """Write a change of a position into the trial; returns the range of positions it touches."""
    count = walk.order.shape[0]
    reach = _reach(walk)
    if number < 2 * LONGEST_SHIFTED * reach:
        length = 1 + number % LONGEST_SHIFTED
        distance = 1 + number // (2 * LONGEST_SHIFTED)
        end = min(count, position + length)
        if number // LONGEST_SHIFTED % 2:
            return exchange(walk, position, end, min(count, end + distance))
        return exchange(walk, max(0, position - distance), position, end)
    number -= 2 * LONGEST_SHIFTED * reach
    if number < reach:
        return swap_runs(walk, position, position + 1 + number)
    number -= reach
    job = plan_rows(book)[walk.order[position]]["job"]
    if number < LONGEST_SHIFTED * near.shape[1]:
        other = near[job, number // LONGEST_SHIFTED]
        target = walk.place[other] if other >= 0 else -1
        end = min(count, position + 1 + number % LONGEST_SHIFTED)
        if target < 0:
            return 0, 0
        if target >= end:
            return exchange(walk, position, end, target + 1)
        return exchange(walk, target + 1, position, end)
    return seat(
        walk, position, job_plans[job, 0] + number - LONGEST_SHIFTED * near.shape[1], job_plans[job, 1]
    )
