"""Random changes of a line's order, written into a walk's trial."""

from __future__ import annotations

from typing import NamedTuple

from solver.search.kernels.address_book import plan_rows
from solver.search.kernels.compiled import part
from solver.search.kernels.line_walk import Walk
from solver.search.kernels.randomness import Randomness, draw_below, draw_unit
from solver.search.kernels.tables import Floats, Ints

LONGEST_BLOCK = 50


class Changes(NamedTuple):
    """What random changes are drawn from.

    `near` (jobs, k) are jobs that a job likes to follow; `job_plans` (jobs, 2) ranges of plans;
    `exchanged` (plans, pairs) the plan with two stations exchanged, or -1. `shares` are those of the kinds
    of changes, adding up to 1: next to a near job, any block, swaps, other stations.
    """

    near: Ints
    job_plans: Ints
    exchanged: Ints
    shares: Floats
    randomness: Randomness


@part
def change(book: Ints, walk: Walk, changes: Changes) -> tuple[int, int]:
    """Write a random change into the trial; returns the range of positions it touches."""
    count = walk.order.shape[0]
    if count < 2:
        return restation(book, walk, changes) if count else (0, 0)
    kind = draw_unit(changes.randomness)
    shares = changes.shares
    if kind < shares[0]:
        return move_near(book, walk, changes)
    if kind < shares[0] + shares[1]:
        return move_block(walk, changes)
    if kind < shares[0] + shares[1] + shares[2]:
        return swap(walk, changes)
    return restation(book, walk, changes)


@part
def exchange(walk: Walk, start: int, middle: int, end: int) -> tuple[int, int]:
    """Exchange two adjacent blocks, [start, middle) and [middle, end)."""
    if not start < middle < end:
        return 0, 0
    at = start
    for position in range(middle, end):
        walk.trial[at] = walk.order[position]
        walk.origin[at] = position
        at += 1
    for position in range(start, middle):
        walk.trial[at] = walk.order[position]
        walk.origin[at] = position
        at += 1
    return start, end


@part
def move_near(book: Ints, walk: Walk, changes: Changes) -> tuple[int, int]:
    """Bring a job behind one of those it likes to follow, with a few of its neighbours."""
    count = walk.order.shape[0]
    random = changes.randomness
    position = draw_below(random, count)
    job = plan_rows(book)[walk.order[position]]["job"]
    near = changes.near[job, draw_below(random, changes.near.shape[1])]
    target = walk.place[near] if near >= 0 else -1
    if target < 0 or target == position - 1 or target == position:
        return move_block(walk, changes)
    length = 1
    while length < LONGEST_BLOCK and draw_unit(random) < 0.5:
        length += 1
    if draw_unit(random) < 0.5:
        if target > position:
            return exchange(walk, position, min(position + length, target), target + 1)
        return exchange(walk, target + 1, position, min(position + length, count))
    if target < position:
        return exchange(walk, max(0, target - length + 1), target + 1, position)
    return exchange(walk, position, max(position + 1, target - length + 1), target + 1)


@part
def move_block(walk: Walk, changes: Changes) -> tuple[int, int]:
    """Exchange two adjacent blocks anywhere."""
    count = walk.order.shape[0]
    random = changes.randomness
    longest = min(LONGEST_BLOCK, count - 1)
    start = draw_below(random, count - 1)
    middle = start + 1 + min(draw_below(random, longest), draw_below(random, longest))
    if middle >= count:
        return 0, 0
    end = middle + 1 + min(draw_below(random, longest), draw_below(random, longest))
    return exchange(walk, start, middle, min(end, count))


@part
def swap(walk: Walk, changes: Changes) -> tuple[int, int]:
    """Exchange two runs."""
    count = walk.order.shape[0]
    random = changes.randomness
    one = draw_below(random, count)
    other = draw_below(random, count)
    return swap_runs(walk, min(one, other), max(one, other))


@part
def swap_runs(walk: Walk, first: int, last: int) -> tuple[int, int]:
    """Exchange the runs at two positions, the second behind the first."""
    if first >= last or last >= walk.order.shape[0]:
        return 0, 0
    walk.trial[first], walk.trial[last] = walk.order[last], walk.order[first]
    walk.origin[first], walk.origin[last] = last, first
    return first, last + 1


@part
def restation(book: Ints, walk: Walk, changes: Changes) -> tuple[int, int]:
    """Give a run other stations, or exchange two stations in a few runs from it on."""
    random = changes.randomness
    count = walk.order.shape[0]
    position = draw_below(random, count)
    plan_idx = walk.order[position]
    job = plan_rows(book)[plan_idx]["job"]
    choices = changes.job_plans[job, 1] - changes.job_plans[job, 0]
    if choices < 2:
        return move_block(walk, changes) if count > 2 else (0, 0)
    pairs = changes.exchanged.shape[1]
    if pairs == 0 or draw_unit(random) < 0.5:
        return seat(
            walk, position, changes.job_plans[job, 0] + draw_below(random, choices), changes.job_plans[job, 1]
        )
    pair = draw_below(random, pairs)
    end = position
    while end < count and end < position + LONGEST_BLOCK:
        seated = changes.exchanged[walk.order[end], pair]
        if seated < 0 or (end > position and draw_unit(random) < 0.2):
            break
        walk.trial[end] = seated
        walk.origin[end] = -1
        end += 1
    return position, end


@part
def seat(walk: Walk, position: int, plan_idx: int, behind: int) -> tuple[int, int]:
    """Give a run the stations of a plan, if that is another one and before the last of its job's."""
    if plan_idx == walk.order[position] or plan_idx >= behind:
        return 0, 0
    walk.trial[position] = plan_idx
    walk.origin[position] = -1
    return position, position + 1
