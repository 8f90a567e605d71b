"""Queues of seven jobs on one line: the search finds what walking through all orders finds."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import permutations, product
from typing import Any

import pytest

from solver.account import account_with
from solver.calendar import Calendar
from solver.jobs import Job
from solver.lock_conflicts import arrangement
from solver.locks import AtPosition, Before, FixedStart, Lock, Started, Together
from solver.plant import Plant, PresentState
from solver.problem import Problem
from solver.search.compile import CompiledLine, compiled_line
from solver.search.plant_search import plain_starts, search_plant
from solver.search.stop import Stop
from solver.sequence import Order
from solver.weights import GOALS, Weights
from tests.builders.days import MIN_MS, DayShape, drawn_day, on_one_line, one_line_day, scarce_line_day
from tests.examples import first
from tests.solver.search.least_order import LeastOrder, least_order

JOBS = 7
SCARCE_SEEDS = (75, 36, 10, 28, 1, 2, 4, 6)
"""In the first of them cylinders that are there once decide what is best, in the second the price of being
late once, in the third most of what else a day has.
"""
AMPLE_SEEDS, DRAWN_SEEDS = (20, 21, 22), (44, 43, 48, 54)
LOCKED_SEEDS = (60, 66, *range(61, 66), *range(67, 72))
WORK = 120_000

DrawDay = Callable[[int, int], Problem]
"""Draws a day from a seed, of so many jobs."""


@pytest.mark.parametrize("seed", first(SCARCE_SEEDS))
def test_the_best_order_is_found_where_everything_is_scarce(seed: int) -> None:
    _assert_found(scarce_line_day, seed)


@pytest.mark.parametrize("seed", first(AMPLE_SEEDS))
def test_so_it_is_where_stock_suffices(seed: int) -> None:
    _assert_found(one_line_day, seed)


@pytest.mark.parametrize("seed", first(DRAWN_SEEDS))
def test_so_it_is_where_some_jobs_may_never_start(seed: int) -> None:
    _assert_found(_drawn, seed)


@pytest.mark.parametrize("seed", first(LOCKED_SEEDS))
def test_so_it_is_under_locks_that_may_contradict_each_other(seed: int) -> None:
    _assert_found(_locked_line_day, seed)


def test_some_of_these_orders_leave_jobs_out_and_some_break_locks() -> None:
    def faults(draw: DrawDay, seed: int) -> int:
        _, least = _least(draw, seed)
        return least.faults

    assert faults(_drawn, 44) > 0
    assert faults(_locked_line_day, 60) > 0
    assert faults(_locked_line_day, 66) == 0


def _with_line(**changed: Any) -> Callable[[Plant], Plant]:
    return lambda plant: replace(plant, lines=(replace(plant.lines[0], **changed),))


def _same_plant(plant: Plant) -> Plant:
    return plant


def _ample_stock(plant: Plant) -> Plant:
    return replace(
        plant,
        substrates=tuple(
            replace(each, widths=tuple(replace(width, on_hand_um=None) for width in each.widths))
            for each in plant.substrates
        ),
    )


def _ample_cylinders(plant: Plant) -> Plant:
    return replace(plant, cylinders=tuple(replace(each, copies=None) for each in plant.cylinders))


WITHOUT: dict[str, tuple[Callable[[Plant], Plant], Callable[[Job], Job]]] = {
    "closures": (_with_line(calendar=Calendar()), lambda job: job),
    "work beside the running line": (_with_line(hands_while_running=0), lambda job: job),
    "a present state": (_with_line(present=PresentState()), lambda job: job),
    "lack of stock": (_ample_stock, lambda job: job),
    "lack of cylinders": (_ample_cylinders, lambda job: job),
    "ready times": (_same_plant, lambda job: replace(job, ready_ms=0)),
    "low migration": (_same_plant, lambda job: replace(job, low_migration=False)),
    "a price of being late once": (_same_plant, lambda job: replace(job, late_eur=Fraction(0))),
    "a price of every late hour": (_same_plant, lambda job: replace(job, late_eur_per_h=Fraction(0))),
}


@pytest.mark.parametrize("feature", WITHOUT)
def test_whoever_did_not_see_a_feature_would_miss_a_best_order(feature: str) -> None:
    of_plant, of_job = WITHOUT[feature]

    def would_miss(seed: int) -> bool:
        compiled, least = _least(scarce_line_day, seed)
        day = compiled.problem
        blind = compiled_line(Problem(of_plant(day.plant), tuple(map(of_job, day.jobs))), _weights(seed))
        return _accounted(compiled, blind.order(least_order(blind).numbers)) > (
            least.faults,
            least.eur * (1 + 1e-9),
        )

    assert any(map(would_miss, SCARCE_SEEDS))


@pytest.mark.parametrize("seed", [4, 9])
def test_the_walk_through_all_orders_passes_over_none_that_is_better(seed: int) -> None:
    compiled = compiled_line(_locked(scarce_line_day(seed, 5), seed), Weights())
    ranges = [range(first, last) for first, last in compiled.job_plans.tolist() if last > first]
    orders = (order for plans in product(*ranges) for order in permutations(plans))
    least = min(_accounted(compiled, compiled.order(order)) for order in orders)
    walked = least_order(compiled)
    assert (walked.faults, walked.eur) == pytest.approx(least, rel=1e-9)


def _assert_found(draw: DrawDay, seed: int) -> None:
    """The search ends with an order that costs what the best one costs; the account says what they cost."""
    compiled, least = _least(draw, seed)
    starts, arranged = plain_starts(compiled.plant), arrangement(compiled.problem)
    if arranged is not None:
        starts.append(compiled.plant.numbers(arranged))
    found = search_plant(compiled.plant, starts, Stop(work=WORK), seed, 2)
    assert len(least.numbers) >= JOBS - 1
    assert (found.faults, found.eur) == pytest.approx((least.faults, least.eur), rel=1e-9)
    if found.faults == 0:
        assert found.bound_eur is not None
        assert found.bound_eur <= least.eur
    for score, order in (
        ((least.faults, least.eur), compiled.order(least.numbers)),
        ((found.faults, found.eur), found.order),
    ):
        assert score == pytest.approx(_accounted(compiled, order), rel=1e-9)


@cache
def _least(draw: DrawDay, seed: int) -> tuple[CompiledLine, LeastOrder]:
    """A day, and the best of all its orders, which several tests compare with."""
    compiled = compiled_line(draw(seed, JOBS), _weights(seed))
    return compiled, least_order(compiled)


def _weights(seed: int) -> Weights:
    return GOALS[sorted(GOALS)[seed % len(GOALS)]]


def _accounted(compiled: CompiledLine, order: Order) -> tuple[float, float]:
    """Faults and weighed cost as the account has them."""
    sequence = account_with(compiled.scheduler, order)
    return float(len(sequence.left_out) + len(sequence.broken_locks)), float(sequence.weighed_eur)


def _drawn(seed: int, jobs: int) -> Problem:
    """The first jobs of a drawn day, whose stock may lack for ever."""
    day = on_one_line(drawn_day(seed, DayShape(jobs=4 * jobs, lines=1)), 0)
    return Problem(day.plant, day.jobs[:jobs])


def _locked_line_day(seed: int, jobs: int) -> Problem:
    return _locked(scarce_line_day(seed, jobs), seed)


def _locked(day: Problem, seed: int) -> Problem:
    """The same with a lock of every kind on drawn jobs, which may contradict each other."""
    rng = random.Random(seed)
    jobs = [job.id for job in day.jobs]
    rng.shuffle(jobs)
    position = rng.randrange(1, len(jobs))
    locks: list[Lock] = [
        AtPosition(jobs[0], position),
        Before(jobs[1], jobs[2]),
        Together(tuple(jobs[2:5])),
        FixedStart(jobs[1], rng.randrange(60, 400) * MIN_MS),
    ]
    if seed % 2:
        locks.append(AtPosition(jobs[-1], position))
    if seed % 3 == 0:
        line = day.plant.lines[0]
        locks.append(Started(jobs[-2], line.id, -20 * MIN_MS, -5 * MIN_MS, 30 * MIN_MS))
    return Problem(day.plant, day.jobs, tuple(locks))
