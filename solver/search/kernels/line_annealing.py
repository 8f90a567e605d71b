"""Simulated annealing of one line's order: random changes, the worse ones taken ever more seldom."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.search.kernels.address_book import (
    plan_rows,
)
from solver.search.kernels.compiled import compiled, part
from solver.search.kernels.line_walk import (
    EUR,
    FAULTS,
    FRESH,
    WORK,
    LineModel,
    Walk,
    evaluate,
    settle,
)
from solver.search.kernels.randomness import Randomness, draw_below, draw_unit
from solver.search.kernels.tables import (
    DONE,
    FULL,
    HALTED,
    Flags,
    Floats,
    Ints,
)

STEP, CYCLE = 0, 1
HOT, COLD, NOW = 0, 1, 2
LOOK_EVERY = 128
LONGEST_BLOCK = 50


class Annealing(NamedTuple):
    """Settings and state of a walk that anneals.

    `near` (jobs, k) are jobs that a job likes to follow; `job_plans` (jobs, 2) ranges of plans;
    `exchanged` (plans, pairs) the plan with two stations exchanged, or -1. `steps` and `heat` by the names
    above: a cycle cools from `HOT` to `COLD` euro within so many steps, the next is twice as long.
    `shares` are those of the kinds of changes, adding up to 1: next to a near job, any block, swaps, other
    stations.
    """

    near: Ints
    job_plans: Ints
    exchanged: Ints
    steps: Ints
    heat: Floats
    shares: Floats
    randomness: Randomness


@compiled
def anneal(
    book: Ints,
    model: LineModel,
    walk: Walk,
    annealing: Annealing,
    until: int,
    halt: Flags,
) -> int:
    """Try changes until the walk's work is `until`, the tables are full, or the flag is up.

    A walk that is fresh first takes its trial for its order.
    """
    if walk.counts[FRESH]:
        code = settle(book, model, walk, -1)
        if code == FULL:
            return FULL
        walk.counts[FRESH] = 0
    while walk.counts[WORK] < until:
        if walk.counts[WORK] % LOOK_EVERY == 0 and halt[0]:
            return HALTED
        before = annealing.randomness[0]
        first, last = change(book, walk, annealing)
        if last > first:
            limit_eur = walk.eur[EUR] - annealing.heat[NOW] * np.log(1.0 - draw_unit(annealing.randomness))
            code, faults, eur = evaluate(book, model, walk, first, last, limit_eur)
            better = faults < walk.counts[FAULTS]
            taken = code == DONE and (better or (faults == walk.counts[FAULTS] and eur <= limit_eur))
            if taken:
                code = settle(book, model, walk, first)
            if code == FULL or not taken:
                walk.trial[first:last] = walk.order[first:last]
            if code == FULL:
                annealing.randomness[0] = before
                return FULL
        walk.counts[WORK] += 1
        cool_down(annealing)
    return DONE


@part
def cool_down(annealing: Annealing) -> None:
    """One step of the cycle: the heat falls geometrically."""
    steps, heat = annealing.steps, annealing.heat
    steps[STEP] += 1
    if steps[STEP] >= steps[CYCLE]:
        steps[STEP] = 0
        steps[CYCLE] *= 2
    if steps[STEP] % LOOK_EVERY == 0:
        heat[NOW] = heat[HOT] * (heat[COLD] / heat[HOT]) ** (steps[STEP] / steps[CYCLE])


@part
def change(book: Ints, walk: Walk, annealing: Annealing) -> tuple[int, int]:
    """Write a random change into the trial; returns the range of positions it touches."""
    count = walk.order.shape[0]
    if count < 2:
        return restation(book, walk, annealing) if count else (0, 0)
    kind = draw_unit(annealing.randomness)
    shares = annealing.shares
    if kind < shares[0]:
        return move_near(book, walk, annealing)
    if kind < shares[0] + shares[1]:
        return move_block(walk, annealing)
    if kind < shares[0] + shares[1] + shares[2]:
        return swap(walk, annealing)
    return restation(book, walk, annealing)


@part
def exchange(walk: Walk, start: int, middle: int, end: int) -> tuple[int, int]:
    """Exchange two adjacent blocks, [start, middle) and [middle, end)."""
    if not start < middle < end:
        return 0, 0
    at = start
    for position in range(middle, end):
        walk.trial[at] = walk.order[position]
        at += 1
    for position in range(start, middle):
        walk.trial[at] = walk.order[position]
        at += 1
    return start, end


@part
def move_near(book: Ints, walk: Walk, annealing: Annealing) -> tuple[int, int]:
    """Bring a job behind one of those it likes to follow, with a few of its neighbours."""
    count = walk.order.shape[0]
    random = annealing.randomness
    position = draw_below(random, count)
    job = plan_rows(book)[walk.order[position]]["job"]
    near = annealing.near[job, draw_below(random, annealing.near.shape[1])]
    target = walk.place[near] if near >= 0 else -1
    if target < 0 or target == position - 1 or target == position:
        return move_block(walk, annealing)
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
def move_block(walk: Walk, annealing: Annealing) -> tuple[int, int]:
    """Exchange two adjacent blocks anywhere."""
    count = walk.order.shape[0]
    random = annealing.randomness
    longest = min(LONGEST_BLOCK, count - 1)
    start = draw_below(random, count - 1)
    middle = start + 1 + min(draw_below(random, longest), draw_below(random, longest))
    if middle >= count:
        return 0, 0
    end = middle + 1 + min(draw_below(random, longest), draw_below(random, longest))
    return exchange(walk, start, middle, min(end, count))


@part
def swap(walk: Walk, annealing: Annealing) -> tuple[int, int]:
    """Exchange two runs."""
    count = walk.order.shape[0]
    random = annealing.randomness
    one = draw_below(random, count)
    other = draw_below(random, count)
    if one == other:
        return 0, 0
    first, last = min(one, other), max(one, other)
    walk.trial[first], walk.trial[last] = walk.order[last], walk.order[first]
    return first, last + 1


@part
def restation(book: Ints, walk: Walk, annealing: Annealing) -> tuple[int, int]:
    """Give a run other stations, or exchange two stations in a few runs from it on."""
    random = annealing.randomness
    count = walk.order.shape[0]
    position = draw_below(random, count)
    plan_idx = walk.order[position]
    job = plan_rows(book)[plan_idx]["job"]
    choices = annealing.job_plans[job, 1] - annealing.job_plans[job, 0]
    if choices < 2:
        return move_block(walk, annealing) if count > 2 else (0, 0)
    pairs = annealing.exchanged.shape[1]
    if pairs == 0 or draw_unit(random) < 0.5:
        chosen = annealing.job_plans[job, 0] + draw_below(random, choices)
        if chosen == plan_idx:
            return 0, 0
        walk.trial[position] = chosen
        return position, position + 1
    pair = draw_below(random, pairs)
    end = position
    while end < count and end < position + LONGEST_BLOCK:
        seated = annealing.exchanged[walk.order[end], pair]
        if seated < 0 or (end > position and draw_unit(random) < 0.2):
            break
        walk.trial[end] = seated
        end += 1
    return position, end
