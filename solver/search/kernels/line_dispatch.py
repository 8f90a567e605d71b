"""A first order of one line by dispatching: append the run with the best index, again and again."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.search.kernels.address_book import plan_rows
from solver.search.kernels.compiled import part
from solver.search.kernels.line_walk import DISPATCH, FRESH, KEEP, NOTHING, LineModel, Walk, copy_row
from solver.search.kernels.tables import DONE, END, NEVER_MS, Flags, Floats, Ints

AT, WAITING, CANDIDATE, CHOICE = 0, 1, 2, 3
DUE_FACTOR, SETUP_FACTOR, BEST_INDEX, FIRST_SETUP_EUR, USUAL_SETUP_EUR, SETUPS_EUR, SETUPS, WORK_MS = range(8)
MOST_CHOICES = 2
"""Station choices of a job that are looked at."""
NEVER_LATE_EUR = 1e-3
"""Stands for the late price of a job that has none."""
HARDLY_DUE_MS = 30 * 24 * 3_600_000
"""Stands for the slack of a job without a due time."""
H_MS = 3_600_000
WORST = -np.inf


class Dispatch(NamedTuple):
    """Where a dispatching is.

    `waiting` (runs,) has the jobs that are not placed yet first, and `promise` their indices if nothing had
    to be changed for them; `chosen` (2,) candidate and plan of the best so far; `counts` and `factors` are
    by the names above; `halt` (1,) is not 0 where dispatching is to be given up.
    """

    waiting: Ints
    promise: Floats
    chosen: Ints
    counts: Ints
    factors: Floats
    halt: Flags


@part
def begin_dispatching(book: Ints, model: LineModel, walk: Walk, dispatch: Dispatch, job_plans: Ints) -> None:
    """Let all jobs of the order wait. The trial is written over."""
    plans, counts, factors = plan_rows(book), dispatch.counts, dispatch.factors
    count = walk.order.shape[0]
    factors[WORK_MS] = factors[SETUPS_EUR] = factors[SETUPS] = 0.0
    factors[USUAL_SETUP_EUR] = factors[FIRST_SETUP_EUR]
    for position in range(count):
        plan = plans[walk.order[position]]
        dispatch.waiting[position] = plan["job"]
        factors[WORK_MS] += plan["work_ms"]
    counts[AT], counts[WAITING] = 0, count
    copy_row(walk.kept[0], model.start)
    walk.kept_eur[0] = model.start_eur[0]
    _next_position(book, walk, dispatch, job_plans)


@part
def _next_position(book: Ints, walk: Walk, dispatch: Dispatch, job_plans: Ints) -> None:
    counts, factors = dispatch.counts, dispatch.factors
    if factors[SETUPS] > 0 and factors[SETUPS_EUR] > 0:
        factors[USUAL_SETUP_EUR] = factors[SETUPS_EUR] / factors[SETUPS]
    factors[SETUPS_EUR] = factors[SETUPS] = 0.0
    factors[BEST_INDEX] = WORST
    dispatch.chosen[0] = -1
    end_ms = walk.kept[counts[AT], END]
    for idx in range(counts[WAITING]):
        plan_idx = job_plans[dispatch.waiting[idx], 0]
        plan = plan_rows(book)[plan_idx]
        run_end_ms = max(end_ms, plan["ready_ms"]) + plan["work_ms"]
        dispatch.promise[idx] = _index(book, dispatch, plan_idx, run_end_ms, 0.0)
    _next_candidate(dispatch)


@part
def _next_candidate(dispatch: Dispatch) -> bool:
    """The most promising of those not tried yet, where it can still be the best."""
    promise, counts = dispatch.promise, dispatch.counts
    most = 0
    for idx in range(1, counts[WAITING]):
        if promise[idx] > promise[most]:
            most = idx
    counts[CANDIDATE], counts[CHOICE] = most, 0
    return bool(promise[most] > dispatch.factors[BEST_INDEX])


@part
def set_candidate(walk: Walk, dispatch: Dispatch, job_plans: Ints) -> int:
    """Write the next candidate into the trial; returns the position."""
    at = dispatch.counts[AT]
    job = dispatch.waiting[dispatch.counts[CANDIDATE]]
    walk.trial[at] = job_plans[job, 0] + dispatch.counts[CHOICE]
    return int(at)


@part
def after_candidate(
    book: Ints, model: LineModel, walk: Walk, dispatch: Dispatch, job_plans: Ints, code: int, eur: float
) -> int:
    """Note how a candidate came out, and append the best once all have been tried: `DISPATCH` again, or
    `KEEP` where the order is complete; `NOTHING` where dispatching is given up, which leaves the walk's
    order to be placed afresh.
    """
    counts = dispatch.counts
    if dispatch.halt[0]:
        walk.counts[FRESH] = 1
        return NOTHING
    at = counts[AT]
    if code == DONE:
        setup_eur = _setup_eur(book, walk, walk.trial[at], eur - walk.kept_eur[at])
        dispatch.factors[SETUPS_EUR] += setup_eur
        dispatch.factors[SETUPS] += 1
        index = _index(book, dispatch, walk.trial[at], walk.state[END], setup_eur)
        if index > dispatch.factors[BEST_INDEX]:
            dispatch.factors[BEST_INDEX] = index
            dispatch.chosen[0], dispatch.chosen[1] = counts[CANDIDATE], walk.trial[at]
            copy_row(walk.kept[at + 1], walk.state)
            walk.kept_eur[at + 1] = eur
    job = dispatch.waiting[counts[CANDIDATE]]
    counts[CHOICE] += 1
    if counts[CHOICE] >= min(MOST_CHOICES, job_plans[job, 1] - job_plans[job, 0]):
        dispatch.promise[counts[CANDIDATE]] = WORST
        if _next_candidate(dispatch):
            return DISPATCH
    else:
        return DISPATCH
    _append(book, walk, dispatch, job_plans)
    if counts[WAITING] > 0:
        return DISPATCH
    walk.counts[FRESH] = 1
    return KEEP


@part
def _setup_eur(book: Ints, walk: Walk, plan_idx: int, eur: float) -> float:
    """What the changeover and the waiting before it cost of what a run costs."""
    plan = plan_rows(book)[plan_idx]
    late_ms = walk.state[END] - plan["due_ms"]
    setup_eur = eur - plan["floor_eur"]
    if late_ms > 0:
        setup_eur -= plan["late_once_eur"] + plan["late_ms_eur"] * late_ms
    return float(max(0.0, setup_eur))


@part
def _index(book: Ints, dispatch: Dispatch, plan_idx: int, run_end_ms: int, setup_eur: float) -> float:
    """Logarithm of the index, which orders alike and never underflows.

    I = w/p · exp(−max(d − p − t, 0) / (K1·p̄)) · exp(−s / (K2·s̄)), the rule of apparent tardiness cost
    with set-ups (Lee, Bhaskaran and Pinedo, IIE Transactions 29, 1997); here s is the money that the
    changeover and the waiting before it cost, s̄ its mean among the candidates one position before, and w
    what an hour's lateness costs.
    """
    plan, factors = plan_rows(book)[plan_idx], dispatch.factors
    slack_ms = HARDLY_DUE_MS if plan["due_ms"] >= NEVER_MS else max(0, plan["due_ms"] - run_end_ms)
    usual_work_ms = max(1.0, factors[WORK_MS] / dispatch.counts[WAITING])
    price_eur = plan["late_ms_eur"] * H_MS + plan["late_once_eur"] + NEVER_LATE_EUR
    return float(
        np.log(price_eur / max(1, plan["work_ms"]))
        - slack_ms / (factors[DUE_FACTOR] * usual_work_ms)
        - setup_eur / (factors[SETUP_FACTOR] * factors[USUAL_SETUP_EUR])
    )


@part
def _append(book: Ints, walk: Walk, dispatch: Dispatch, job_plans: Ints) -> None:
    counts, waiting = dispatch.counts, dispatch.waiting
    at = counts[AT]
    if dispatch.chosen[0] < 0:
        # None of them can ever start: whichever comes next is left out.
        dispatch.chosen[0], dispatch.chosen[1] = 0, job_plans[waiting[0], 0]
        copy_row(walk.kept[at + 1], walk.kept[at])
        walk.kept_eur[at + 1] = walk.kept_eur[at]
    walk.trial[at] = dispatch.chosen[1]
    dispatch.factors[WORK_MS] -= plan_rows(book)[dispatch.chosen[1]]["work_ms"]
    counts[WAITING] -= 1
    for idx in range(dispatch.chosen[0], counts[WAITING]):
        waiting[idx] = waiting[idx + 1]
    counts[AT] += 1
    if counts[WAITING] > 0:
        _next_position(book, walk, dispatch, job_plans)
