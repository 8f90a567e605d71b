"""An order of one line on its walk: what it costs, changes tried on it, and those it takes.

A change is written into `trial`, which otherwise equals `order`; it is placed in time from its first
position on, after the snapshot kept there.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.search.kernels.address_book import AT_DROPPED, flags, line_row, plan_rows
from solver.search.kernels.compiled import part
from solver.search.kernels.line_locks import LockTables, broken_locks
from solver.search.kernels.line_stretches import note_steps
from solver.search.kernels.tables import (
    ABOVE,
    BEFORE,
    DROPPED,
    END,
    LOW,
    Flags,
    Floats,
    Ints,
    Rows,
)

TOLERANCE = 1e-9
"""Relative: costs closer than this count as equal, so that rounding never makes an improvement."""
FAULTS, BEST_FAULTS, LEFT_OUT, TRIAL_LEFT_OUT, WORK, FRESH, MISJUDGED = 0, 1, 2, 3, 4, 5, 6
NOTHING, TRY, KEEP, ALL, DISPATCH = 0, 1, 2, 3, 4
"""How a trial is placed: not at all; passing over what stays as it is; keeping snapshots of all runs; from
the beginning, leaving out what never can start; run by run, as dispatching asks for."""
UNORDERED = 2
"""Of a fresh walk: the jobs of its order are still to be dispatched."""
EUR, BEST_EUR, HOPE, TRIED_EUR, FAULT_EUR = 0, 1, 2, 3, 4
NO_LIMIT = np.inf


class LineModel(NamedTuple):
    """All that placing an order in time reads.

    `uses` (plans,) are the slots of every plan as bits, `asleep` (1,) those emptied when the line goes
    cold.
    """

    locks: LockTables
    start: Ints
    start_eur: Floats
    uses: Ints
    asleep: Ints


class Walk(NamedTuple):
    """Where a walk is.

    `order`, `trial`, `best` (runs,) are plans; `origin` (runs,) where the trial's runs are in the order,
    below 0 those with other stations; `place` (jobs,) the positions of the order's jobs; `kept` (runs + 1,
    state) the line before every position and at the end, `kept_eur` its cost there, without the cleaning
    behind the last run; `steps` (runs,) what stretches need to know; `late_eur` (runs + 1,) the lateness
    from a position on. `state` is a line for trials. `counts` and `eur` are by the names above. `trace` is
    of the trial, `kept_trace` of the order, empty unless starts are asked for.
    """

    order: Ints
    trial: Ints
    best: Ints
    origin: Ints
    place: Ints
    kept: Ints
    kept_eur: Floats
    steps: Rows
    late_eur: Floats
    state: Ints
    counts: Ints
    eur: Floats
    trace: Ints
    kept_trace: Ints


@part
def begin_trial(book: Ints, model: LineModel, walk: Walk, first: int) -> int:
    """How the trial is to be placed, which differs from the order from a position on; `NOTHING` where it
    breaks more locks than the order.
    """
    if walk.counts[TRIAL_LEFT_OUT] > 0:
        # Jobs are still marked where there was no room for a changeover.
        clear(flags(book, AT_DROPPED))
        walk.counts[TRIAL_LEFT_OUT] = 0
    if walk.counts[FRESH]:
        return DISPATCH if walk.counts[FRESH] == UNORDERED else KEEP
    if model.locks.locks.shape[0] > 0:
        faults = broken_locks(book, model.locks, walk.trial, walk.trace[:0])
        strict = walk.eur[FAULT_EUR] == NO_LIMIT
        if walk.counts[LEFT_OUT] == 0 and strict and faults > walk.counts[FAULTS]:
            return NOTHING
        copy_starts(walk.trace, walk.kept_trace, 0, first)
    return TRY if walk.counts[LEFT_OUT] == 0 else ALL


@part
def after_placing(
    book: Ints,
    model: LineModel,
    walk: Walk,
    mode: int,
    code: int,
    position: int,
    first: int,
    eur: float,
    limit_eur: float,
) -> int:
    """What to do with the trial once it has been placed in a mode: place it in another, or `NOTHING`."""
    counts = walk.counts
    has_locks = model.locks.locks.shape[0] > 0
    if code == DROPPED:
        if mode == ALL:
            flags(book, AT_DROPPED)[plan_rows(book)[walk.trial[position]]["job"]] = 1
            counts[TRIAL_LEFT_OUT] += 1
            return ALL
        counts[TRIAL_LEFT_OUT] = 0
        return ALL if counts[FRESH] or counts[FAULTS] > 0 else NOTHING
    if code == ABOVE:
        return NOTHING
    left_out = counts[TRIAL_LEFT_OUT] if mode == ALL else 0
    faults = left_out
    if has_locks:
        faults += broken_locks(book, model.locks, walk.trial, walk.trace)
    if mode == ALL:
        clear(flags(book, AT_DROPPED))
    if mode == KEEP and not counts[FRESH] and abs(eur - walk.eur[TRIED_EUR]) > tolerance_eur(walk):
        counts[MISJUDGED] += 1
    walk.eur[TRIED_EUR] = eur
    if mode != KEEP:
        if not counts[FRESH] and not is_taken(walk, faults, eur, limit_eur):
            return NOTHING
        if left_out == 0:
            return KEEP
    take(book, model, walk, first, faults, left_out, eur)
    return NOTHING


@part
def is_taken(walk: Walk, faults: int, eur: float, limit_eur: float) -> bool:
    """Whether a trial is good enough: faults before money, or at the price of a fault while there is one."""
    more = faults - walk.counts[FAULTS]
    if walk.eur[FAULT_EUR] == NO_LIMIT and more != 0:
        return bool(more < 0)
    return bool(eur + (walk.eur[FAULT_EUR] * more if more != 0 else 0.0) <= limit_eur)


@part
def most_eur(walk: Walk, limit_eur: float) -> float:
    """What a trial may cost at most to be good enough if it has no fault."""
    if walk.counts[FAULTS] == 0:
        return limit_eur
    return float(limit_eur + walk.eur[FAULT_EUR] * walk.counts[FAULTS])


@part
def take(
    book: Ints, model: LineModel, walk: Walk, first: int, faults: int, left_out: int, eur: float
) -> None:
    """Make the trial the order, and note it if it is the best."""
    count = walk.order.shape[0]
    if left_out == 0:
        copy_row(walk.kept[count], walk.state)
        walk.kept_eur[count] = eur - clean_down_eur(book, walk.state)
        note_steps(book, model.uses, walk.trial, walk.kept, walk.trace, first, walk.steps)
        walk.late_eur[count] = 0.0
        for at in range(count - 1, -1, -1):
            step = walk.steps[at]
            walk.late_eur[at] = walk.late_eur[at + 1]
            if step["late_ms"] > 0:
                walk.late_eur[at] += step["late_once_eur"] + step["late_ms_eur"] * step["late_ms"]
        copy_starts(walk.kept_trace, walk.trace, first, count)
    for position in range(first, count):
        walk.order[position] = walk.trial[position]
        walk.origin[position] = position
        walk.place[plan_rows(book)[walk.trial[position]]["job"]] = position
    counts = walk.counts
    counts[FRESH], counts[LEFT_OUT], counts[FAULTS] = 0, left_out, faults
    walk.eur[EUR] = eur
    if is_better(faults, eur, counts[BEST_FAULTS], walk.eur[BEST_EUR]):
        counts[BEST_FAULTS] = faults
        walk.eur[BEST_EUR] = eur
        copy_row(walk.best, walk.order)


@part
def hopeless(walk: Walk, position: int, eur: float, limit_eur: float) -> bool:
    """Whether a trial that has placed the same runs as the order is not worth going on with.

    What is ahead may come out cheaper than in the order by lateness, where the trial is earlier, and by
    tooling that it kept; the latter is a guess (`walk.eur[HOPE]`), no bound.
    """
    ahead_eur = walk.kept_eur[walk.order.shape[0]] - walk.kept_eur[position] - walk.eur[HOPE]
    if walk.state[END] < walk.kept[position, END]:
        ahead_eur -= walk.late_eur[position]
    return bool(eur + ahead_eur > limit_eur)


@part
def clean_down_eur(book: Ints, state: Ints) -> float:
    """Cleaning behind the last run of an order, where it is low-migration work."""
    if state[BEFORE] >= 0 and state[LOW]:
        return float(line_row(book)[0]["clean_down_out_ms"] * line_row(book)[0]["stopped_ms_eur"])
    return 0.0


@part
def undo(walk: Walk, first: int, last: int) -> None:
    """Make the trial equal to the order again."""
    for position in range(first, last):
        walk.trial[position] = walk.order[position]
        walk.origin[position] = position


@part
def copy_row(to: Ints, row: Ints) -> None:
    """Slices are not assigned: that might need an array of its own."""
    for at in range(to.shape[0]):
        to[at] = row[at]


@part
def copy_starts(to: Ints, trace: Ints, first: int, end: int) -> None:
    """Copy what a trace says of the positions from `first` to before `end`, if it says anything."""
    for at in range(first, min(end, trace.shape[0], to.shape[0])):
        for column in range(trace.shape[1]):
            to[at, column] = trace[at, column]


@part
def clear(flags: Flags) -> None:
    """Put all flags down."""
    for at in range(flags.shape[0]):
        flags[at] = 0


@part
def is_better(faults: int, eur: float, other_faults: int, other_eur: float) -> bool:
    """Whether one score is better than another, beyond rounding."""
    if faults != other_faults:
        return faults < other_faults
    return eur < other_eur - TOLERANCE * max(1.0, abs(other_eur))


@part
def tolerance_eur(walk: Walk) -> float:
    """By how much less an order must cost than this one to be better."""
    return float(TOLERANCE * max(1.0, abs(walk.eur[EUR])))
