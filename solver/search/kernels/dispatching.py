"""A first order by dispatching: the line that is free first gets the run with the best index, again and
again."""

from __future__ import annotations

from typing import Any

import numpy as np

from solver.search.kernels.address_book import (
    AT_COUNTS,
    AT_DISPATCHED,
    AT_FACTORS,
    AT_HALT,
    AT_JOB_PLANS,
    AT_KEPT,
    AT_KEPT_EUR,
    AT_ORDER,
    AT_PROMISE,
    AT_RUNS,
    AT_START,
    AT_STATE,
    AT_TRIAL,
    AT_TRIAL_RUNS,
    AT_WAITING,
    flags,
    floats,
    ints,
    ints_2,
    ints_3,
    line_row,
    plan_rows,
)
from solver.search.kernels.compiled import inlined, part
from solver.search.kernels.tables import DONE, DROPPED, END, FULL, HALTED, NEVER_MS, Ints
from solver.search.kernels.timeline import place_runs
from solver.search.kernels.walk import JOBS, NO_LIMIT, book_of, copy_row, lines_of

WAITING, CHOSEN, CHOSEN_PLAN = 0, 1, 2
DUE_FACTOR, SETUP_FACTOR, BEST_INDEX, FIRST_SETUP_EUR, USUAL_SETUP_EUR, SETUPS_EUR, SETUPS, WORK_MS = range(8)
MOST_CHOICES = 2
"""Station choices of a job that are looked at."""
NEVER_LATE_EUR = 1e-3
"""Stands for the late price of a job that has none."""
HARDLY_DUE_MS = 30 * 24 * 3_600_000
"""Stands for the slack of a job without a due time."""
H_MS = 3_600_000
WORST = -np.inf


@inlined
def dispatch(plant: Ints) -> int:
    """Write all runs of the order into the trial, in another order.

    Returns `DONE`; `FULL` where there is no room for another changeover, after which it is to be called
    again; `HALTED` where it was told to stop, with the order in the trial.
    """
    dispatched, waiting = ints(plant, AT_DISPATCHED), ints(plant, AT_WAITING)
    _begin(plant)
    while dispatched[WAITING] > 0:
        if flags(plant, AT_HALT)[0]:
            _give_up(plant)
            return HALTED
        line = _next_line(plant)
        if line < 0:
            raise ValueError("an order has something that no line can run")
        book = book_of(plant, line)
        _promise(plant, book, line)
        dispatched[CHOSEN] = -1
        candidate = _most_promising(plant)
        while candidate >= 0:
            code = _try_candidate(plant, book, line, candidate)
            if code == FULL:
                return FULL
            candidate = _most_promising(plant)
        if dispatched[CHOSEN] < 0:
            # None of them can ever start: whichever comes next is left out.
            candidate = _first_that_runs(plant, book)
            dispatched[CHOSEN] = candidate
            dispatched[CHOSEN_PLAN] = ints_3(book, AT_JOB_PLANS)[waiting[candidate], 0, 0]
            _keep(plant, book, line, ints_2(book, AT_KEPT)[ints(plant, AT_TRIAL_RUNS)[line]], 0.0)
        _append(plant, book, line)
    return DONE


@part
def _begin(plant: Ints) -> None:
    """Let all runs of the order wait."""
    dispatched, factors, waiting = (
        ints(plant, AT_DISPATCHED),
        floats(plant, AT_FACTORS),
        ints(plant, AT_WAITING),
    )
    factors[WORK_MS] = factors[SETUPS_EUR] = factors[SETUPS] = 0.0
    factors[USUAL_SETUP_EUR] = factors[FIRST_SETUP_EUR]
    dispatched[WAITING] = 0
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        order, plans = ints(book, AT_ORDER), plan_rows(book)
        for position in range(ints(plant, AT_RUNS)[line]):
            plan = plans[order[position]]
            if plan["item"] < ints(plant, AT_COUNTS)[JOBS]:
                waiting[dispatched[WAITING]] = plan["item"]
                factors[WORK_MS] += plan["work_ms"]
                dispatched[WAITING] += 1
        ints(plant, AT_TRIAL_RUNS)[line] = 0
        copy_row(ints_2(book, AT_KEPT)[0], ints(book, AT_START))
        floats(book, AT_KEPT_EUR)[0] = line_row(book)[0]["start_eur"]


@part
def _give_up(plant: Ints) -> None:
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        copy_row(ints(book, AT_TRIAL), ints(book, AT_ORDER))
        ints(plant, AT_TRIAL_RUNS)[line] = ints(plant, AT_RUNS)[line]


@part
def _next_line(plant: Ints) -> int:
    """The line that is free first among those that can run something that waits; -1 where none can."""
    best, best_ms = -1, NEVER_MS
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        end_ms = ints_2(book, AT_KEPT)[ints(plant, AT_TRIAL_RUNS)[line], END]
        if end_ms < best_ms and _first_that_runs(plant, book) >= 0:
            best, best_ms = line, end_ms
    return best


@part
def _first_that_runs(plant: Ints, book: Ints) -> int:
    waiting, ranges = ints(plant, AT_WAITING), ints_3(book, AT_JOB_PLANS)
    for idx in range(ints(plant, AT_DISPATCHED)[WAITING]):
        if ranges[waiting[idx], 0, 1] > ranges[waiting[idx], 0, 0]:
            return idx
    return -1


@part
def _promise(plant: Ints, book: Ints, line: int) -> None:
    """What the index of everything that waits would be if nothing had to be changed for it."""
    factors, promise, waiting = floats(plant, AT_FACTORS), floats(plant, AT_PROMISE), ints(plant, AT_WAITING)
    if factors[SETUPS] > 0 and factors[SETUPS_EUR] > 0:
        factors[USUAL_SETUP_EUR] = factors[SETUPS_EUR] / factors[SETUPS]
    factors[SETUPS_EUR] = factors[SETUPS] = 0.0
    factors[BEST_INDEX] = WORST
    end_ms = ints_2(book, AT_KEPT)[ints(plant, AT_TRIAL_RUNS)[line], END]
    ranges, plans = ints_3(book, AT_JOB_PLANS), plan_rows(book)
    for idx in range(ints(plant, AT_DISPATCHED)[WAITING]):
        first = ranges[waiting[idx], 0, 0]
        if ranges[waiting[idx], 0, 1] > first:
            run_end_ms = max(end_ms, plans[first]["ready_ms"]) + plans[first]["work_ms"]
            promise[idx] = _index(plant, plans[first], run_end_ms, 0.0)
        else:
            promise[idx] = WORST


@part
def _most_promising(plant: Ints) -> int:
    """The most promising of those not tried yet, where it can still be the best; else -1."""
    promise, most = floats(plant, AT_PROMISE), 0
    for idx in range(1, ints(plant, AT_DISPATCHED)[WAITING]):
        if promise[idx] > promise[most]:
            most = idx
    return most if promise[most] > floats(plant, AT_FACTORS)[BEST_INDEX] else -1


@inlined
def _try_candidate(plant: Ints, book: Ints, line: int, candidate: int) -> int:
    """Append what waits at a few of its stations, noting the best."""
    dispatched, factors = ints(plant, AT_DISPATCHED), floats(plant, AT_FACTORS)
    item, at = ints(plant, AT_WAITING)[candidate], ints(plant, AT_TRIAL_RUNS)[line]
    ranges, kept_eur = ints_3(book, AT_JOB_PLANS), floats(book, AT_KEPT_EUR)
    state = ints(book, AT_STATE)
    for plan_idx in range(ranges[item, 0, 0], min(ranges[item, 0, 1], ranges[item, 0, 0] + MOST_CHOICES)):
        ints(book, AT_TRIAL)[at] = plan_idx
        copy_row(state, ints_2(book, AT_KEPT)[at])
        code, _, eur = place_runs(book, kept_eur[at], at, at + 1, NO_LIMIT, False, False, 0, -1)
        if code == FULL:
            return FULL
        if code == DROPPED:
            continue
        plan = plan_rows(book)[plan_idx]
        setup_eur = _setup_eur(plan, state[END], eur - kept_eur[at])
        factors[SETUPS_EUR] += setup_eur
        factors[SETUPS] += 1
        index = _index(plant, plan, state[END], setup_eur)
        if index > factors[BEST_INDEX]:
            factors[BEST_INDEX] = index
            dispatched[CHOSEN], dispatched[CHOSEN_PLAN] = candidate, plan_idx
            _keep(plant, book, line, state, eur - kept_eur[at])
    floats(plant, AT_PROMISE)[candidate] = WORST
    return DONE


@part
def _keep(plant: Ints, book: Ints, line: int, state: Ints, more_eur: float) -> None:
    """Keep the line behind a candidate."""
    at = ints(plant, AT_TRIAL_RUNS)[line]
    kept, kept_eur = ints_2(book, AT_KEPT), floats(book, AT_KEPT_EUR)
    for item in range(kept.shape[1]):
        kept[at + 1, item] = state[item]
    kept_eur[at + 1] = kept_eur[at] + more_eur


@part
def _setup_eur(plan: Any, end_ms: int, eur: float) -> float:
    """What the changeover and the waiting before it cost of what a run costs."""
    late_ms = end_ms - plan["due_ms"]
    setup_eur = eur - plan["floor_eur"]
    if late_ms > 0:
        setup_eur -= plan["late_once_eur"] + plan["late_ms_eur"] * late_ms
    return float(max(0.0, setup_eur))


@part
def _index(plant: Ints, plan: Any, run_end_ms: int, setup_eur: float) -> float:
    """Logarithm of the index, which orders alike and never underflows.

    I = w/p · exp(−max(d − p − t, 0) / (K1·p̄)) · exp(−s / (K2·s̄)), the rule of apparent tardiness cost
    with set-ups (Lee, Bhaskaran and Pinedo, IIE Transactions 29, 1997); here s is the money that the
    changeover and the waiting before it cost, s̄ its mean among the candidates one position before, and w
    what an hour's lateness costs.
    """
    factors = floats(plant, AT_FACTORS)
    slack_ms = HARDLY_DUE_MS if plan["due_ms"] >= NEVER_MS else max(0, plan["due_ms"] - run_end_ms)
    usual_work_ms = max(1.0, factors[WORK_MS] / ints(plant, AT_DISPATCHED)[WAITING])
    price_eur = plan["late_ms_eur"] * H_MS + plan["late_once_eur"] + NEVER_LATE_EUR
    return float(
        np.log(price_eur / max(1, plan["work_ms"]))
        - slack_ms / (factors[DUE_FACTOR] * usual_work_ms)
        - setup_eur / (factors[SETUP_FACTOR] * factors[USUAL_SETUP_EUR])
    )


@part
def _append(plant: Ints, book: Ints, line: int) -> None:
    dispatched, waiting = ints(plant, AT_DISPATCHED), ints(plant, AT_WAITING)
    runs = ints(plant, AT_TRIAL_RUNS)
    ints(book, AT_TRIAL)[runs[line]] = dispatched[CHOSEN_PLAN]
    floats(plant, AT_FACTORS)[WORK_MS] -= plan_rows(book)[dispatched[CHOSEN_PLAN]]["work_ms"]
    runs[line] += 1
    dispatched[WAITING] -= 1
    for idx in range(dispatched[CHOSEN], dispatched[WAITING]):
        waiting[idx] = waiting[idx + 1]
