"""An order of one line on its walk: what it costs, changes tried on it, and those it takes.

A change is written into `trial`, which otherwise equals `order`; it is placed in time from its first
position on, after the snapshot kept there.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.search.kernels.address_book import (
    AT_CLOSURES,
    AT_DROPPED,
    flags,
    ints_2,
    line_row,
    plan_rows,
    stock_rows,
)
from solver.search.kernels.compiled import inlined, part
from solver.search.kernels.line_locks import LockTables, broken_locks
from solver.search.kernels.tables import (
    ABOVE,
    BEFORE,
    CLOSURE,
    DONE,
    DROPPED,
    END,
    HEAD,
    NEVER_MS,
    PRINT_CLOSURE,
    PRINT_START,
    Floats,
    Ints,
)
from solver.search.kernels.timeline import place_runs

TOLERANCE = 1e-9
"""Relative: costs closer than this count as equal, so that rounding never makes an improvement."""
FAULTS, BEST_FAULTS, LEFT_OUT, WORK, FRESH = 0, 1, 2, 3, 4
EUR, BEST_EUR, HOPE = 0, 1, 2
STRIDE = 8
"""Runs placed before it is looked at again whether a trial is worth going on with."""
NO_LIMIT = np.inf


class LineModel(NamedTuple):
    """All that placing an order in time reads, and the changeovers it learns."""

    locks: LockTables
    start: Ints
    start_eur: Floats


class Walk(NamedTuple):
    """Where a walk is.

    `order`, `trial`, `best` (runs,) are plans; `place` (jobs,) the positions of the order's jobs; `kept`
    (runs + 1, state) the line before every position and at the end, `kept_eur` its cost there; `slack_ms`
    (runs + 1,) by how much runs from there on could come earlier before any had to wait for its job to be
    ready; `late_eur` (runs + 1,) the lateness from there on. `state` is a line for trials. `counts` and
    `eur` are by the names above. `trace` is empty unless starts are asked for.
    """

    order: Ints
    trial: Ints
    best: Ints
    place: Ints
    kept: Ints
    kept_eur: Floats
    state: Ints
    counts: Ints
    eur: Floats
    trace: Ints
    slack_ms: Ints
    late_eur: Floats
    no_snapshots: Ints
    no_costs: Floats


@inlined
def evaluate(
    book: Ints,
    model: LineModel,
    walk: Walk,
    first: int,
    last: int,
    limit_eur: float,
) -> tuple[int, int, float]:
    """What the trial costs, which differs from the order at positions from `first` to before `last`.

    Returns how it came back, faults (jobs left out and locks broken) and cost. `ABOVE` where it is sure to
    be worse than the order by faults, or above the limit with as many.
    """
    has_locks = model.locks.locks.shape[0] > 0
    faults = 0
    if has_locks:
        flags(book, AT_DROPPED)[:] = 0
        faults = broken_locks(book, model.locks, walk.trial, walk.trace[:0])
        if walk.counts[LEFT_OUT] == 0 and faults > walk.counts[FAULTS]:
            return ABOVE, faults, NO_LIMIT
    if walk.counts[LEFT_OUT] == 0:
        code, eur = _place_on(book, model, walk, first, last, limit_eur)
        if code == DONE and has_locks:
            faults = broken_locks(book, model.locks, walk.trial, walk.trace)
        if code != DROPPED:
            return code, faults, eur
        if walk.counts[FAULTS] == 0:
            return ABOVE, 1, NO_LIMIT
    code, left_out, eur = place_all(book, model, walk, walk.trial)
    if code == DONE:
        faults = left_out
        if has_locks:
            faults += broken_locks(book, model.locks, walk.trial, walk.trace)
    flags(book, AT_DROPPED)[:] = 0
    return code, faults, eur


@inlined
def _place_on(
    book: Ints,
    model: LineModel,
    walk: Walk,
    first: int,
    last: int,
    limit_eur: float,
) -> tuple[int, float]:
    """Place the trial from `first` on; behind `last` only until the line is as it was in the order."""
    count = walk.order.shape[0]
    walk.state[:] = walk.kept[first]
    begin, end, eur, code = first, last, walk.kept_eur[first], DONE
    while True:
        code, _, eur = place_runs(
            book,
            walk.state,
            eur,
            walk.trial,
            begin,
            end,
            limit_eur,
            0.0,
            walk.no_snapshots,
            walk.no_costs,
            walk.trace,
        )
        if code != DONE or end == count:
            break
        if goes_on_alike(book, walk, end):
            eur += walk.kept_eur[count] - walk.kept_eur[end]
            eur += later_lateness_eur(book, walk, end)
            code = ABOVE if eur > limit_eur else DONE
            break
        if hopeless(walk, end, eur, limit_eur):
            code = ABOVE
            break
        begin = end
        end = min(count, end + STRIDE)
    return code, eur


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
def goes_on_alike(book: Ints, walk: Walk, position: int) -> bool:
    """Whether from a position on the trial goes on as the order does, but for a shift in time.

    The line holds the same; no closure, ready time, fixed start or stock comes between.
    """
    state, kept = walk.state, walk.kept[position]
    line, end = line_row(book)[0], walk.kept[walk.order.shape[0]]
    shift_ms = state[END] - kept[END]
    if state[PRINT_START] - kept[PRINT_START] != shift_ms or state[BEFORE] != kept[BEFORE]:
        return False
    for slot in range(HEAD, line["drawn_at"]):
        if state[slot] != kept[slot]:
            return False
    if not _tools_alike(book, state, kept):
        return False
    for stock in range(stock_rows(book).shape[0]):
        at = line["drawn_at"] + stock
        on_hand_um = stock_rows(book)[stock]["on_hand_um"]
        if end[at] > on_hand_um or end[at] + state[at] - kept[at] > on_hand_um:
            return False
    if shift_ms == 0:
        return True
    if walk.slack_ms[position] < max(0, -shift_ms) or end[END] + shift_ms > line["horizon_ms"]:
        return False
    closure = state[CLOSURE]
    if closure != kept[CLOSURE] or closure != end[CLOSURE] or state[PRINT_CLOSURE] != kept[PRINT_CLOSURE]:
        return False
    closures = ints_2(book, AT_CLOSURES)
    return bool(closure == closures.shape[0] or end[END] + shift_ms <= closures[closure, 0])


@part
def _tools_alike(book: Ints, state: Ints, kept: Ints) -> bool:
    """Whether scarce tools are at the same places, and in use as long as far as that still matters."""
    line = line_row(book)[0]
    for at in range(line["places_at"], state.shape[0]):
        if state[at] != kept[at]:
            return False
    for at in range(line["in_use_at"], line["places_at"]):
        done = state[at] <= state[PRINT_START] and kept[at] <= kept[PRINT_START]
        if state[at] != kept[at] and not (done and line["single_copies"]):
            return False
    return True


@part
def later_lateness_eur(book: Ints, walk: Walk, position: int) -> float:
    """What lateness costs more when the order is shifted from a position on as the trial is there."""
    shift_ms = walk.state[END] - walk.kept[position, END]
    eur = 0.0
    if shift_ms != 0:
        for at in range(position, walk.order.shape[0]):
            plan = plan_rows(book)[walk.order[at]]
            late_ms = walk.kept[at + 1, END] - plan["due_ms"]
            if late_ms > 0:
                eur -= plan["late_once_eur"] + plan["late_ms_eur"] * late_ms
            if late_ms + shift_ms > 0:
                eur += plan["late_once_eur"] + plan["late_ms_eur"] * (late_ms + shift_ms)
    return eur


@inlined
def place_all(book: Ints, model: LineModel, walk: Walk, order: Ints) -> tuple[int, int, float]:
    """Place an order from the beginning, leaving out what never can start.

    Returns how it came back, how many were left out, and the cost; `dropped` has the jobs.
    """
    flags(book, AT_DROPPED)[:] = 0
    left_out = 0
    while True:
        walk.state[:] = model.start
        code, position, eur = place_runs(
            book,
            walk.state,
            model.start_eur[0],
            order,
            0,
            order.shape[0],
            NO_LIMIT,
            0.0,
            walk.no_snapshots,
            walk.no_costs,
            walk.trace,
        )
        if code != DROPPED:
            return code, left_out, eur
        flags(book, AT_DROPPED)[plan_rows(book)[order[position]]["job"]] = 1
        left_out += 1


@inlined
def settle(book: Ints, model: LineModel, walk: Walk, first: int) -> int:
    """Take the trial as the order: keep its snapshots from `first` on, and note it if it is the best."""
    count = walk.order.shape[0]
    code, left_out = DONE, 0
    if walk.counts[LEFT_OUT] == 0 and first >= 0:
        walk.state[:] = walk.kept[first]
        code, _, eur = _keep_from(book, model, walk, first, walk.kept_eur[first])
    if first < 0 or walk.counts[LEFT_OUT] > 0 or code == DROPPED:
        code, left_out, eur = place_all(book, model, walk, walk.trial)
    if code != DONE:
        return code
    faults = left_out
    if model.locks.locks.shape[0] > 0:
        faults += broken_locks(book, model.locks, walk.trial, walk.trace)
    if first < 0 and left_out == 0:
        walk.state[:] = model.start
        _keep_from(book, model, walk, 0, model.start_eur[0])
    flags(book, AT_DROPPED)[:] = 0
    for position in range(max(0, first), count):
        walk.order[position] = walk.trial[position]
        walk.place[plan_rows(book)[walk.trial[position]]["job"]] = position
    walk.counts[FAULTS], walk.counts[LEFT_OUT] = faults, left_out
    walk.eur[EUR] = eur
    if is_better(faults, eur, walk.counts[BEST_FAULTS], walk.eur[BEST_EUR]):
        walk.counts[BEST_FAULTS] = faults
        walk.eur[BEST_EUR] = eur
        walk.best[:] = walk.order
    return DONE


@inlined
def _keep_from(
    book: Ints,
    model: LineModel,
    walk: Walk,
    first: int,
    eur: float,
) -> tuple[int, int, float]:
    """Place the trial after `walk.state` and keep the snapshots before every position and at the end."""
    count = walk.trial.shape[0]
    code, position, eur = place_runs(
        book,
        walk.state,
        eur,
        walk.trial,
        first,
        walk.trial.shape[0],
        NO_LIMIT,
        0.0,
        walk.kept,
        walk.kept_eur,
        walk.trace,
    )
    if code == DONE:
        walk.kept[count, :] = walk.state
        walk.kept_eur[count] = eur
        walk.slack_ms[count] = NEVER_MS
        walk.late_eur[count] = 0.0
        for at in range(count - 1, -1, -1):
            plan = plan_rows(book)[walk.trial[at]]
            slack_ms = walk.kept[at, PRINT_START] - max(plan["ready_ms"], plan["window_ms"])
            walk.slack_ms[at] = min(walk.slack_ms[at + 1], slack_ms)
            late_ms = walk.kept[at + 1, END] - plan["due_ms"]
            walk.late_eur[at] = walk.late_eur[at + 1]
            if late_ms > 0:
                walk.late_eur[at] += plan["late_once_eur"] + plan["late_ms_eur"] * late_ms
    return code, position, eur


@part
def is_better(faults: int, eur: float, other_faults: int, other_eur: float) -> bool:
    """Whether one score is better than another, beyond rounding."""
    if faults != other_faults:
        return faults < other_faults
    return eur < other_eur - TOLERANCE * max(1.0, abs(other_eur))
