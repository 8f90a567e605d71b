"""Simulated annealing of one line's order: random changes, the worse ones taken ever more seldom."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.search.kernels.compiled import compiled, part
from solver.search.kernels.line_changes import Changes, change
from solver.search.kernels.line_descent import changes_of_position, listed_change
from solver.search.kernels.line_dispatch import Dispatch, after_candidate, begin_dispatching, set_candidate
from solver.search.kernels.line_stretches import pass_over
from solver.search.kernels.line_walk import (
    ALL,
    BEST_EUR,
    DISPATCH,
    EUR,
    FAULT_EUR,
    FRESH,
    KEEP,
    LEFT_OUT,
    NO_LIMIT,
    NOTHING,
    TRY,
    WORK,
    LineModel,
    Walk,
    after_placing,
    begin_trial,
    clean_down_eur,
    copy_row,
    hopeless,
    most_eur,
    tolerance_eur,
    undo,
)
from solver.search.kernels.randomness import draw_unit
from solver.search.kernels.tables import (
    ABOVE,
    DONE,
    FULL,
    HALTED,
    Flags,
    Floats,
    Ints,
)
from solver.search.kernels.timeline import place_runs

STEP, CYCLE, PHASE, CURSOR, FRUITLESS, CHANGES = 0, 1, 2, 3, 4, 5
HOT, COLD, NOW, GROWTH, DESCENDED_EUR, LEAST_FAULT_EUR, MOST_FAULT_EUR = 0, 1, 2, 3, 4, 5, 6
STRICT_FROM = 0.6
"""Share of a cycle behind which no fault is taken on for money."""
ANNEAL, DESCEND = 0, 1
LOOK_EVERY = 128


class Annealing(NamedTuple):
    """Settings and state of a walk that anneals.

    `counts`, `factors` and `heat` by the names above: a cycle cools from `HOT` to `COLD` euro within
    `CYCLE` steps, the next is longer by `GROWTH`. Behind a cycle that found a new best, that is descended
    from: all listed changes are tried until none is better. The next cycle begins from the best. Where
    `MOST_FAULT_EUR` is above 0, the first part of every cycle but the first takes a broken lock for a price
    between that and `LEAST_FAULT_EUR`: orders that keep all locks may have none of their kind beside them.
    """

    counts: Ints
    heat: Floats


@compiled
def anneal(
    book: Ints,
    model: LineModel,
    walk: Walk,
    changes: Changes,
    annealing: Annealing,
    dispatch: Dispatch,
    until: int,
    halt: Flags,
) -> int:
    """Try changes until the walk's work is `until`, the tables are full, or the flag is up.

    A walk that is fresh first takes its trial for its order, or dispatches the jobs of its order if it
    is to (`UNORDERED`).
    """
    count = walk.order.shape[0]
    while walk.counts[FRESH] or walk.counts[WORK] < until:
        if walk.counts[WORK] % LOOK_EVERY == 0 and halt[0] and not walk.counts[FRESH]:
            return HALTED
        fresh = walk.counts[FRESH] > 0
        before = changes.randomness[0]
        first, last, limit_eur = 0, count, NO_LIMIT
        mode = NOTHING
        if not fresh:
            first, last = next_change(book, walk, changes, annealing)
            limit_eur = walk.eur[EUR] - tolerance_eur(walk)
            if annealing.counts[PHASE] == ANNEAL:
                limit_eur = walk.eur[EUR] - annealing.heat[NOW] * np.log(1.0 - draw_unit(changes.randomness))
        place_limit_eur = most_eur(walk, limit_eur)
        if last > first or fresh:
            mode = begin_trial(book, model, walk, first)
        if mode == DISPATCH:
            begin_dispatching(book, model, walk, dispatch, changes.job_plans)
        taken = False
        while mode != NOTHING:
            # The only place where runs are placed: written out more than once it would be compiled so often.
            at, eur, snapshots = first, walk.kept_eur[first], 0
            if mode == KEEP and (fresh or walk.counts[LEFT_OUT] > 0):
                at = 0
            if mode == ALL or at == 0:
                at, eur = 0, model.start_eur[0]
                copy_row(walk.state, model.start)
            else:
                copy_row(walk.state, walk.kept[first])
            if mode == KEEP:
                first = at
                snapshots = count
            code, stop = DONE, count
            if mode == DISPATCH:
                at = set_candidate(walk, dispatch, changes.job_plans)
                copy_row(walk.state, walk.kept[at])
                eur, stop = walk.kept_eur[at], at + 1
            while code == DONE and at < stop:
                end = stop
                if mode == TRY:
                    at, stretch_eur = pass_over(
                        book,
                        walk.kept,
                        walk.kept_eur,
                        walk.steps,
                        walk.origin,
                        walk.state,
                        at,
                        model.asleep[0],
                    )
                    eur += stretch_eur
                    if at == count:
                        eur += clean_down_eur(book, walk.state)
                    if eur > place_limit_eur or (at >= last and hopeless(walk, at, eur, place_limit_eur)):
                        code = ABOVE
                    end = min(count, at + 1)
                if code == DONE and at < stop:
                    code, at, eur = place_runs(
                        book,
                        walk.state,
                        eur,
                        walk.trial,
                        at,
                        end,
                        place_limit_eur if mode == TRY else NO_LIMIT,
                        walk.kept[:snapshots],
                        walk.kept_eur[:snapshots],
                        walk.trace,
                    )
            if code == FULL:
                return give_up(walk, changes, annealing, mode, first, last, before)
            if mode == DISPATCH:
                mode = after_candidate(book, model, walk, dispatch, changes.job_plans, code, eur)
            else:
                mode = after_placing(book, model, walk, mode, code, at, first, eur, limit_eur)
                taken = taken or mode == KEEP
        undo(walk, first, last)
        if not fresh:
            count_step(walk, changes, annealing, taken)
    return DONE


@part
def give_up(
    walk: Walk, changes: Changes, annealing: Annealing, mode: int, first: int, last: int, before: int
) -> int:
    """Leave everything as before a change for which there is no room, so that it is tried again."""
    if not walk.counts[FRESH]:
        if mode == KEEP:
            # The snapshots are written over: the trial is taken all the same, from the beginning.
            count_step(walk, changes, annealing, True)
            walk.counts[FRESH] = 1
        else:
            undo(walk, first, last)
            changes.randomness[0] = before
    return FULL


@part
def next_change(book: Ints, walk: Walk, changes: Changes, annealing: Annealing) -> tuple[int, int]:
    """Write the next change into the trial; returns the range of positions it touches."""
    if annealing.counts[PHASE] == ANNEAL:
        return change(book, walk, changes)
    cursor = annealing.counts[CURSOR]
    each = annealing.counts[CHANGES]
    return listed_change(book, walk, changes.near, changes.job_plans, cursor // each, cursor % each)


@part
def count_step(walk: Walk, changes: Changes, annealing: Annealing, taken: bool) -> None:
    """One step further: the heat falls geometrically, or the descent goes on."""
    walk.counts[WORK] += 1
    counts, heat = annealing.counts, annealing.heat
    counts[STEP] += 1
    if counts[PHASE] == DESCEND:
        counts[CURSOR] = (counts[CURSOR] + 1) % (counts[CHANGES] * walk.order.shape[0])
        counts[FRUITLESS] = 0 if taken else counts[FRUITLESS] + 1
        if counts[FRUITLESS] >= counts[CHANGES] * walk.order.shape[0] or counts[STEP] >= counts[CYCLE]:
            heat[DESCENDED_EUR] = walk.eur[BEST_EUR]
            _next_cycle(walk, changes, annealing)
        return
    if counts[STEP] >= counts[CYCLE]:
        if walk.eur[BEST_EUR] < heat[DESCENDED_EUR] and walk.order.shape[0] > 1:
            counts[PHASE], counts[CURSOR], counts[FRUITLESS], counts[STEP] = DESCEND, 0, 0, 0
            walk.eur[FAULT_EUR] = NO_LIMIT
            counts[CHANGES] = changes_of_position(walk, changes.near, changes.job_plans)
            heat[NOW] = 0.0
        else:
            _next_cycle(walk, changes, annealing)
        copy_row(walk.trial, walk.best)
        walk.counts[FRESH] = 1
    if counts[PHASE] == ANNEAL and counts[STEP] % LOOK_EVERY == 0:
        if counts[STEP] >= STRICT_FROM * counts[CYCLE]:
            walk.eur[FAULT_EUR] = NO_LIMIT
        heat[NOW] = heat[HOT] * (heat[COLD] / heat[HOT]) ** (counts[STEP] / counts[CYCLE])


@part
def _next_cycle(walk: Walk, changes: Changes, annealing: Annealing) -> None:
    counts, heat = annealing.counts, annealing.heat
    if heat[MOST_FAULT_EUR] > 0:
        dearer = heat[MOST_FAULT_EUR] / heat[LEAST_FAULT_EUR]
        walk.eur[FAULT_EUR] = heat[LEAST_FAULT_EUR] * dearer ** draw_unit(changes.randomness)
    counts[PHASE], counts[STEP] = ANNEAL, 0
    counts[CYCLE] = int(counts[CYCLE] * heat[GROWTH])
    heat[NOW] = heat[HOT]
