"""Small queues on two lines, with lots, locks and tools that are there once: the search finds what walking
through all orders finds.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from solver.feasibility import station_choices
from solver.lock_conflicts import arrangement
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.lots import total_labels
from solver.problem import Problem
from solver.search.compile import CompiledPlant
from solver.search.decoded_costing import DecodedCosting
from solver.search.plant_search import PlantFound, plain_starts, search_plant
from solver.search.stop import Stop
from solver.sequence import Order
from solver.weights import GOALS, Weights
from tests.builders.days import MIN_MS, DayShape, drawn_day, with_scarce_cylinders
from tests.builders.drawn_locks import under_keepable_locks
from tests.builders.every_order import every_order, every_order_in_lots
from tests.builders.scored import Score, scored
from tests.examples import first

WORK = 60_000
SIX_SEEDS, FREE_SEEDS, LOCKED_SEEDS = (0,), (3, 1), (0, 1)
LATE_TOOL_SEED = 17
"""Under its locks a tool that comes late spares a longer wait."""


def small_day(seed: int, jobs: int, *splits: int) -> Problem:
    """So many jobs that run on two lines at one choice of stations each, of which some may be split in about
    half; every die and cylinder is there once.
    """
    drawn = drawn_day(seed, DayShape(jobs=50, lines=2, splits=True))
    dies = tuple(replace(die, copies=1) for die in drawn.plant.dies)
    free = with_scarce_cylinders(Problem(replace(drawn.plant, dies=dies), drawn.jobs))
    easy = [
        job_idx
        for job_idx in range(len(free.jobs))
        if [len(station_choices(free, line_idx, job_idx)) for line_idx in range(2)] == [1, 1]
    ][:jobs]
    if len(easy) < jobs:
        raise ValueError(f"seed {seed} gives {len(easy)} jobs, not {jobs}")
    least = {easy[place]: total_labels(free, easy[place]) * 9 // 20 for place in splits}
    return Problem(
        free.plant,
        tuple(
            replace(free.jobs[job_idx], id=f"j{place}", least_lot=least.get(job_idx))
            for place, job_idx in enumerate(easy)
        ),
    )


def weights_of(seed: int) -> Weights:
    return GOALS[sorted(GOALS)[seed % len(GOALS)]]


def least_order(problem: Problem, weights: Weights) -> tuple[Score, Order]:
    """The best of all orders: placed by the kernels, and what comes out by the scheduler."""
    orders = list(every_order_in_lots(problem))
    costing = DecodedCosting(problem, weights, orders[0])
    outcomes = costing.outcomes(orders)
    best = min(range(len(orders)), key=lambda idx: (outcomes[idx].faults, outcomes[idx].eur))
    least = scored(CompiledPlant(problem, weights).scheduler, orders[best])
    assert (outcomes[best].faults, outcomes[best].eur) == pytest.approx((least.faults, least.eur), rel=1e-9)
    return least, orders[best]


def found_by_search(problem: Problem, weights: Weights, seed: int) -> PlantFound:
    compiled = CompiledPlant(problem, weights)
    starts, arranged = plain_starts(compiled), arrangement(problem)
    if arranged is not None:
        starts.append(compiled.numbers(arranged))
    found = search_plant(compiled, starts, Stop(work=WORK), seed, 2)
    right = scored(compiled.scheduler, found.order)
    assert (found.faults, found.eur) == pytest.approx((right.faults, right.eur), rel=1e-9)
    return found


def assert_found(problem: Problem, seed: int) -> Order:
    """The search finds an order that none of all undercuts. Returns the best."""
    weights = weights_of(seed)
    least, order = least_order(problem, weights)
    found = found_by_search(problem, weights, seed)
    assert (found.faults, found.eur) == pytest.approx((least.faults, least.eur), rel=1e-9)
    return order


@pytest.mark.parametrize("seed", SIX_SEEDS)
def test_the_best_of_all_orders_of_six_jobs_in_lots_is_found(seed: int) -> None:
    assert_found(small_day(seed, 6, 2), seed)


@pytest.mark.parametrize("seed", first(FREE_SEEDS))
def test_so_it_is_where_two_of_five_may_be_split(seed: int) -> None:
    assert_found(small_day(seed, 5, 0, 3), seed)


LOCKS: dict[str, tuple[Lock, ...]] = {
    "a started run": (Started("j0", "line-1", -20 * MIN_MS, -5 * MIN_MS, 40 * MIN_MS),),
    "a line": (OnLine("j2", "line-2"),),
    "a position": (AtPosition("j1", 2),),
    "neighbours": (Together(("j1", "j3")),),
    "neighbours of a started run": (
        Started("j0", "line-2", -20 * MIN_MS, -5 * MIN_MS, 40 * MIN_MS),
        Together(("j0", "j3")),
    ),
    "one before another": (Before("j1", "j4"), OnLine("j4", "line-1")),
    "a start": (FixedStart("j1", 200 * MIN_MS),),
    "all kinds": (
        Started("j0", "line-1", -20 * MIN_MS, -5 * MIN_MS, 40 * MIN_MS),
        Before("j1", "j4"),
        AtPosition("j3", 1),
        FixedStart("j1", 150 * MIN_MS),
        OnLine("j2", "line-2"),
    ),
    "what cannot all be kept": (
        Started("j0", "line-1", -20 * MIN_MS, -5 * MIN_MS, 40 * MIN_MS),
        Before("j1", "j4"),
        Before("j4", "j1"),
        AtPosition("j3", 1),
        OnLine("j2", "line-1"),
    ),
}


@pytest.mark.parametrize("seed", first(LOCKED_SEEDS))
@pytest.mark.parametrize("locks", LOCKS)
def test_so_it_is_under_locks(locks: str, seed: int) -> None:
    free = small_day(seed, 5, 2)
    assert_found(Problem(free.plant, free.jobs, LOCKS[locks]), seed)


def test_so_it_is_where_lines_in_step_cost_less_than_each_by_itself() -> None:
    """A change was once given up when its lines, each by itself, cost more than the order does in step."""
    free = small_day(LATE_TOOL_SEED, 5, 2)
    assert_found(under_keepable_locks(free, LATE_TOOL_SEED), LATE_TOOL_SEED + 2)


def test_all_orders_are_all_of_them() -> None:
    """Six whole jobs in two rows: 7!; with one more run for each of a job's two halves: 8! a cut."""
    free = small_day(0, 6, 2)
    counts = Counter(
        sum(placement.lot is not None for line in order for placement in line)
        for order in every_order_in_lots(free)
    )
    cuts_made = len(CompiledPlant(free, Weights()).splittable[2])
    assert counts == {0: 5_040, 2: 40_320 * cuts_made}
    whole = Problem(free.plant, tuple(replace(job, least_lot=None) for job in free.jobs))
    assert sorted(map(str, every_order_in_lots(whole))) == sorted(map(str, every_order(whole)))
