"""Simulated annealing of a plant's order: random changes, the worse ones taken ever more seldom."""

from __future__ import annotations

import numpy as np

from solver.search.kernels.address_book import (
    AT_BEST,
    AT_COUNTS,
    AT_CYCLE,
    AT_HALT,
    AT_HEAT,
    AT_KEPT_TRACE,
    AT_LEFT_OUT,
    AT_RUNS,
    AT_SHARES,
    AT_SUMS,
    AT_TRACE,
    flags,
    floats,
    ints,
    ints_2,
    lock_rows,
    randomness_of,
    split_rows,
)
from solver.search.kernels.changes import all_runs, change
from solver.search.kernels.compiled import compiled, part
from solver.search.kernels.descent import changes_of_run, listed_change
from solver.search.kernels.dispatching import dispatch
from solver.search.kernels.in_step import place_in_step
from solver.search.kernels.lock_faults import ALONE, IN_STEP, UNTIMED, broken_locks
from solver.search.kernels.lot_changes import change_lots
from solver.search.kernels.randomness import draw_unit
from solver.search.kernels.tables import ABOVE, DONE, DROPPED, FULL, HALTED, Ints
from solver.search.kernels.walk import (
    BEST_EUR,
    EUR,
    FAULT_EUR,
    FAULTS,
    FRESH,
    KEPT,
    LEFT_OUT,
    NO_LIMIT,
    PARTS,
    TRIED_ALONE,
    TRIED_EUR,
    TRIED_FAULTS,
    TRIED_LEFT_OUT,
    UNORDERED,
    WORK,
    alone_beyond_eur,
    begin_from,
    book_of,
    clear,
    copy_starts,
    is_taken,
    keep_parts,
    lines_of,
    most_eur,
    note_all,
    note_whole_runs,
    shares_something,
    take_parts,
    tolerance_eur,
    try_parts,
    undo,
)

STEP, CYCLE, PHASE, CURSOR, FRUITLESS, CHANGES = 0, 1, 2, 3, 4, 5
HOT, COLD, NOW, GROWTH, DESCENDED_EUR, LEAST_FAULT_EUR, MOST_FAULT_EUR = 0, 1, 2, 3, 4, 5, 6
"""A cycle cools from `HOT` to `COLD` euro within `CYCLE` steps, the next is longer by `GROWTH`. Behind a
cycle that found a new best, that is descended from: all listed changes are tried until none is better. The
next cycle begins from the best. Where `MOST_FAULT_EUR` is above 0, the first part of every cycle but the
first takes a broken lock for a price between that and `LEAST_FAULT_EUR`: orders that keep all locks may have
none of their kind beside them."""
STRICT_FROM = 0.6
"""Share of a cycle behind which no fault is taken on for money."""
ANNEAL, DESCEND = 0, 1
LOTS = 4
"""Where the share of changes of lots is among all shares."""
LOOK_EVERY = 128


@compiled
def anneal(plant: Ints, until: int) -> int:
    """Try changes until the walk's work is `until`, the tables are full, or the flag is up.

    A walk that is fresh first takes its trial for its order, or dispatches the runs of its order if it
    is to (`UNORDERED`).
    """
    # What places runs is written out here, once each: every function between here and there would be
    # compiled with all that it calls.
    counts, randomness = ints(plant, AT_COUNTS), randomness_of(plant)
    while counts[FRESH] or counts[WORK] < until:
        fresh, before = counts[FRESH] > 0, randomness[0]
        limit_eur, code = NO_LIMIT, DONE
        if fresh:
            if counts[FRESH] == UNORDERED and dispatch(plant) == FULL:
                return FULL
            _begin(plant)
        else:
            if counts[WORK] % LOOK_EVERY == 0 and flags(plant, AT_HALT)[0]:
                return HALTED
            limit_eur = _next_change(plant)
            code = _look_at_locks(plant) if counts[PARTS] > 0 else ABOVE
        most = most_eur(plant, limit_eur)
        in_step = not counts[KEPT]
        if code == DONE and not in_step:
            code = try_parts(plant, most + alone_beyond_eur(plant))
            if code == DROPPED and counts[FAULTS] > 0:
                code, in_step = DONE, True
            elif code == DONE:
                in_step = shares_something(plant)
        if code == DONE and in_step:
            leaves_out = fresh or counts[LEFT_OUT] > 0 or counts[FAULTS] > 0
            goes_on = not fresh and counts[LEFT_OUT] == 0
            code = place_in_step(plant, NO_LIMIT if leaves_out else most, False, goes_on)
        if code == DONE:
            code = _judge(plant, limit_eur, in_step)
        if code == FULL:
            if not fresh:
                undo(plant)
                randomness[0] = before
            return FULL
        if code == DONE:
            kept = DROPPED
            if counts[TRIED_LEFT_OUT] == 0:
                if not counts[KEPT]:
                    note_all(plant)
                kept = keep_parts(plant)
            take_parts(plant, kept == DONE)
            if kept == FULL:
                # No room for its snapshots: it was taken all the same, and is to be placed afresh.
                if not fresh:
                    _count_step(plant, True)
                counts[FRESH] = 1
                return FULL
        undo(plant)
        if not fresh:
            _count_step(plant, code == DONE)
    return DONE


@part
def _begin(plant: Ints) -> None:
    """Let all of the trial be new."""
    clear(flags(plant, AT_LEFT_OUT))
    note_all(plant)
    note_whole_runs(plant)
    ints(plant, AT_COUNTS)[KEPT] = 0


@part
def _next_change(plant: Ints) -> float:
    """Write the next change into the trial; returns what it may cost."""
    cycle, heat = ints(plant, AT_CYCLE), floats(plant, AT_HEAT)
    limit_eur = floats(plant, AT_SUMS)[EUR] - tolerance_eur(plant)
    if cycle[PHASE] == ANNEAL:
        if (
            split_rows(plant).shape[0] > 0
            and draw_unit(randomness_of(plant)) < floats(plant, AT_SHARES)[LOTS]
        ):
            change_lots(plant)
        else:
            change(plant)
        drawn = draw_unit(randomness_of(plant))
        limit_eur = floats(plant, AT_SUMS)[EUR] - heat[NOW] * np.log(1.0 - drawn)
    else:
        listed_change(plant, cycle[CURSOR] // cycle[CHANGES], cycle[CURSOR] % cycle[CHANGES])
    return float(limit_eur)


@part
def _look_at_locks(plant: Ints) -> int:
    """Whether the trial is to be placed: `DONE`, or `ABOVE` where it breaks more locks."""
    counts = ints(plant, AT_COUNTS)
    if lock_rows(plant).shape[0] > 0 and counts[KEPT]:
        strict = floats(plant, AT_SUMS)[FAULT_EUR] == NO_LIMIT
        if strict and broken_locks(plant, UNTIMED) > counts[FAULTS]:
            return ABOVE
        _tell_starts(plant)
    return DONE


@part
def _judge(plant: Ints, limit_eur: float, in_step: bool) -> int:
    """Whether a trial that was placed is to be taken: `DONE`, else `ABOVE`; its faults are noted."""
    counts = ints(plant, AT_COUNTS)
    faults = left_out = count_flags(plant) if in_step else 0
    if lock_rows(plant).shape[0] > 0:
        faults += broken_locks(plant, IN_STEP if in_step else ALONE)
    clear(flags(plant, AT_LEFT_OUT))
    counts[TRIED_ALONE] = not in_step
    counts[TRIED_LEFT_OUT], counts[TRIED_FAULTS] = left_out, faults
    if counts[FRESH]:
        return DONE
    return DONE if is_taken(plant, faults, floats(plant, AT_SUMS)[TRIED_EUR], limit_eur) else ABOVE


@part
def count_flags(plant: Ints) -> int:
    """How much is left out."""
    left_out, count = flags(plant, AT_LEFT_OUT), 0
    for item in range(left_out.shape[0]):
        count += left_out[item]
    return count


@part
def _tell_starts(plant: Ints) -> None:
    """Let the trials' traces begin as the orders'."""
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        copy_starts(ints_2(book, AT_TRACE), ints_2(book, AT_KEPT_TRACE), 0, ints(plant, AT_RUNS)[line])


@part
def _count_step(plant: Ints, taken: bool) -> None:
    """One step further: the heat falls geometrically, or the descent goes on."""
    counts, sums = ints(plant, AT_COUNTS), floats(plant, AT_SUMS)
    cycle, heat = ints(plant, AT_CYCLE), floats(plant, AT_HEAT)
    counts[WORK] += 1
    cycle[STEP] += 1
    runs = all_runs(plant)
    if cycle[PHASE] == DESCEND:
        cycle[CURSOR] = (cycle[CURSOR] + 1) % (cycle[CHANGES] * runs)
        cycle[FRUITLESS] = 0 if taken else cycle[FRUITLESS] + 1
        if cycle[FRUITLESS] >= cycle[CHANGES] * runs or cycle[STEP] >= cycle[CYCLE]:
            heat[DESCENDED_EUR] = sums[BEST_EUR]
            _next_cycle(plant)
        return
    if cycle[STEP] >= cycle[CYCLE]:
        if sums[BEST_EUR] < heat[DESCENDED_EUR] and runs > 1:
            cycle[PHASE], cycle[CURSOR], cycle[FRUITLESS], cycle[STEP] = DESCEND, 0, 0, 0
            sums[FAULT_EUR] = NO_LIMIT
            cycle[CHANGES] = changes_of_run(plant)
            heat[NOW] = 0.0
        else:
            _next_cycle(plant)
        begin_from(plant, ints(plant, AT_BEST))
    if cycle[PHASE] == ANNEAL and cycle[STEP] % LOOK_EVERY == 0:
        if cycle[STEP] >= STRICT_FROM * cycle[CYCLE]:
            sums[FAULT_EUR] = NO_LIMIT
        heat[NOW] = heat[HOT] * (heat[COLD] / heat[HOT]) ** (cycle[STEP] / cycle[CYCLE])


@part
def _next_cycle(plant: Ints) -> None:
    cycle, heat = ints(plant, AT_CYCLE), floats(plant, AT_HEAT)
    if heat[MOST_FAULT_EUR] > 0:
        dearer = heat[MOST_FAULT_EUR] / heat[LEAST_FAULT_EUR]
        drawn = draw_unit(randomness_of(plant))
        floats(plant, AT_SUMS)[FAULT_EUR] = heat[LEAST_FAULT_EUR] * dearer**drawn
    cycle[PHASE], cycle[STEP] = ANNEAL, 0
    cycle[CYCLE] = int(cycle[CYCLE] * heat[GROWTH])
    heat[NOW] = heat[HOT]
