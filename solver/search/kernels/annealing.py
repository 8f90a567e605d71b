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
    begin_from,
    book_of,
    clear,
    copy_starts,
    is_taken,
    keep_parts,
    lines_of,
    most_eur,
    note_all,
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
    counts, randomness = ints(plant, AT_COUNTS), randomness_of(plant)
    while counts[FRESH] or counts[WORK] < until:
        if counts[FRESH]:
            code = _begin(plant)
            if code == FULL:
                return FULL
            continue
        if counts[WORK] % LOOK_EVERY == 0 and flags(plant, AT_HALT)[0]:
            return HALTED
        before = randomness[0]
        limit_eur = _next_change(plant)
        code = _judge(plant, limit_eur) if counts[PARTS] > 0 else ABOVE
        if code == FULL:
            undo(plant)
            randomness[0] = before
            return FULL
        if code == DONE and not _take(plant):
            # No room for its snapshots: it was taken all the same, and is to be placed afresh.
            _count_step(plant, True)
            counts[FRESH] = 1
            return FULL
        undo(plant)
        _count_step(plant, code == DONE)
    return DONE


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
def _judge(plant: Ints, limit_eur: float) -> int:
    """Whether the trial is to be taken: `DONE`, else `ABOVE`, or `FULL`; faults and cost are noted."""
    counts, sums = ints(plant, AT_COUNTS), floats(plant, AT_SUMS)
    locked = lock_rows(plant).shape[0] > 0
    strict = sums[FAULT_EUR] == NO_LIMIT
    most = most_eur(plant, limit_eur)
    if counts[KEPT]:
        if locked:
            if strict and broken_locks(plant, UNTIMED) > counts[FAULTS]:
                return ABOVE
            _tell_starts(plant)
        code = try_parts(plant, most)
        if code == DROPPED and counts[FAULTS] > 0:
            return _judge_in_step(plant, limit_eur, most, locked)
        if code != DONE:
            return FULL if code == FULL else ABOVE
        if not shares_something(plant):
            counts[TRIED_ALONE], counts[TRIED_LEFT_OUT] = 1, 0
            counts[TRIED_FAULTS] = broken_locks(plant, ALONE) if locked else 0
            taken = is_taken(plant, counts[TRIED_FAULTS], sums[TRIED_EUR], limit_eur)
            return DONE if taken else ABOVE
    return _judge_in_step(plant, limit_eur, most, locked)


@part
def _judge_in_step(plant: Ints, limit_eur: float, most: float, locked: bool) -> int:
    counts, sums = ints(plant, AT_COUNTS), floats(plant, AT_SUMS)
    leaves_out = counts[LEFT_OUT] > 0 or counts[FAULTS] > 0
    counts[TRIED_ALONE] = 0
    code = place_in_step(plant, NO_LIMIT if leaves_out else most, locked)
    if code != DONE:
        return FULL if code == FULL else ABOVE
    faults = counts[TRIED_LEFT_OUT] = count_flags(plant)
    if locked:
        faults += broken_locks(plant, IN_STEP)
    clear(flags(plant, AT_LEFT_OUT))
    counts[TRIED_FAULTS] = faults
    return DONE if is_taken(plant, faults, sums[TRIED_EUR], limit_eur) else ABOVE


@part
def count_flags(plant: Ints) -> int:
    """How much is left out."""
    left_out, count = flags(plant, AT_LEFT_OUT), 0
    for item in range(left_out.shape[0]):
        count += left_out[item]
    return count


@part
def _take(plant: Ints) -> bool:
    """Take the trial; whether there was room for its snapshots."""
    counts, eur = ints(plant, AT_COUNTS), floats(plant, AT_SUMS)[TRIED_EUR]
    faults, left_out = counts[TRIED_FAULTS], counts[TRIED_LEFT_OUT]
    code = DROPPED
    if left_out == 0:
        if not counts[KEPT]:
            note_all(plant)
        code = keep_parts(plant)
    take_parts(plant, faults, left_out, eur, code == DONE)
    return bool(code != FULL)


@part
def _begin(plant: Ints) -> int:
    """Let the trial be the order, after dispatching where that is asked for."""
    counts = ints(plant, AT_COUNTS)
    if counts[FRESH] == UNORDERED:
        if dispatch(plant) == FULL:
            return FULL
        counts[FRESH] = 1
    clear(flags(plant, AT_LEFT_OUT))
    note_all(plant)
    locked = lock_rows(plant).shape[0] > 0
    counts[KEPT] = counts[TRIED_ALONE] = 0
    code = place_in_step(plant, NO_LIMIT, locked)
    if code == FULL:
        return FULL
    counts[TRIED_LEFT_OUT] = count_flags(plant)
    counts[TRIED_FAULTS] = counts[TRIED_LEFT_OUT]
    if locked:
        counts[TRIED_FAULTS] += broken_locks(plant, IN_STEP)
    clear(flags(plant, AT_LEFT_OUT))
    if not _take(plant):
        counts[FRESH] = 1
        return FULL
    undo(plant)
    return DONE


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
