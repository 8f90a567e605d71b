"""The search while a sequence is in force: kernels count moved runs as the account does, and orders are found
that keep to it as far as that pays.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account, account_with
from solver.baselines import as_in_force
from solver.in_force import InForce, RunInForce
from solver.problem import Problem
from solver.search.annealing_islands import annealing_islands
from solver.search.compile import CompiledPlant, compiled_line
from solver.search.decode import PlantDecoder
from solver.search.decoded_costing import DecodedCosting
from solver.search.islands import no_halt
from solver.search.line_bound import line_least
from solver.search.pairwise import as_pairwise
from solver.search.plant_bound import least_costs
from solver.search.plant_search import PlantFound, plain_starts, search_plant
from solver.search.solve import solve
from solver.search.stop import Stop
from solver.sequence import Order, Sequence
from solver.weights import GOALS, Weights
from tests.builders.days import DayShape, drawn_day
from tests.builders.drawn_locks import under_drawn_locks
from tests.builders.every_order import every_order, every_order_in_lots
from tests.builders.in_force import (
    in_force_of,
    numbers_near_in_force,
    while_drawn_in_force,
    while_in_force,
)
from tests.builders.plant_orders import assert_placed_as_accounted, drawn_plant_numbers
from tests.builders.scored import scored
from tests.builders.textbook import open_path_problem
from tests.examples import examples, first
from tests.solver.search.test_least_plant_orders import least_order, small_day

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))
PRICES_EUR = (Fraction(0), Fraction(2), Fraction(10), Fraction(50), Fraction(1000))


def day_in_force(seed: int, lines: int, *, locked: bool) -> Problem:
    day = drawn_day(seed, DayShape(jobs=11, lines=lines, splits=True))
    return while_drawn_in_force(under_drawn_locks(day, seed) if locked else day, seed)


@examples(50)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES, st.booleans())
def test_orders_near_and_far_come_out_as_in_the_account(
    seed: int, lines: int, goal: str, locked: bool
) -> None:
    compiled = CompiledPlant(day_in_force(seed, lines, locked=locked), GOALS[goal])
    decoder, rng = PlantDecoder(compiled), random.Random(seed)
    for _ in range(2):
        assert_placed_as_accounted(decoder, numbers_near_in_force(compiled, rng))
    assert_placed_as_accounted(decoder, drawn_plant_numbers(compiled, rng))


def test_these_orders_move_lots_and_jobs_and_keep_others() -> None:
    met: set[tuple[bool, bool]] = set()
    for seed in range(6):
        compiled = CompiledPlant(day_in_force(seed, 2, locked=True), Weights())
        numbers = numbers_near_in_force(compiled, random.Random(seed))
        for run in account_with(compiled.scheduler, compiled.order(numbers)).runs:
            met |= {(run.lot is not None, run.moved)}
    assert met == {(lot, moved) for lot in (False, True) for moved in (False, True)}


@examples(25)
@given(SEEDS, st.integers(1, 3), st.booleans())
def test_changes_cost_what_was_reckoned_and_the_best_what_the_account_says(
    seed: int, lines: int, locked: bool
) -> None:
    compiled = CompiledPlant(day_in_force(seed, lines, locked=locked), Weights())
    if not compiled.runs:
        return
    for island in annealing_islands(compiled, plain_starts(compiled), seed, no_halt())[:2]:
        island.advance(1500)
        right = scored(compiled.scheduler, compiled.order(island.best[1]))
        assert island.misjudged == 0
        assert island.best[0] == pytest.approx((right.faults, right.eur), rel=1e-9, abs=1e-9)


def found(problem: Problem, weights: Weights, work: int, threads: int = 1) -> PlantFound:
    compiled = CompiledPlant(problem, weights)
    return search_plant(compiled, plain_starts(compiled), Stop(work=work), 3, threads)


@pytest.mark.parametrize("price_eur", [Fraction(10), Fraction(60)])
@pytest.mark.parametrize("seed", first([3, 1]))
def test_the_best_of_all_orders_on_two_lines_is_found(seed: int, price_eur: Fraction) -> None:
    """Walking through all of them costs as much, and so does what the account says of what was found."""
    free = small_day(seed, 5, 2)
    orders = list(every_order_in_lots(free))
    in_force = in_force_of(free, random.Random(seed).choice(orders))
    problem = while_in_force(free, in_force, price_eur)
    least, _ = least_order(problem, Weights())
    assert least.eur > least_order(free, Weights())[0].eur
    best = found(problem, Weights(), 60_000)
    assert (best.faults, best.eur) == pytest.approx((least.faults, least.eur), rel=1e-9)
    right = scored(CompiledPlant(problem, Weights()).scheduler, best.order)
    assert best.eur == pytest.approx(right.eur, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_no_order_undercuts_the_bound_of_a_plant(seed: int) -> None:
    free = small_day(seed, 4, 1)
    orders = list(every_order_in_lots(free))
    in_force = in_force_of(free, random.Random(seed).choice(orders))
    problem = while_in_force(free, in_force, Fraction(40))
    compiled = CompiledPlant(problem, Weights())
    outcomes = DecodedCosting(problem, Weights(), orders[0]).outcomes(orders)
    least_eur = min(outcome.eur for outcome in outcomes if not outcome.faults)
    bound_eur = found(problem, Weights(), 40_000).bound_eur
    assert bound_eur is not None
    assert bound_eur <= least_eur * (1 + 1e-9)
    costs, free_costs = least_costs(compiled), least_costs(CompiledPlant(free, Weights()))
    assert costs is not None
    assert free_costs is not None
    assert costs.lengths.sum() > free_costs.lengths.sum()


@pytest.mark.parametrize("locked", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_the_least_of_a_line_is_dearer_by_the_runs_that_are_moved_for_certain(
    seed: int, locked: bool
) -> None:
    """Pair by pair, and for its first run, behind what has started where something has."""
    problem = day_in_force(seed, 2, locked=locked)
    free = Problem(problem.plant, problem.jobs, problem.locks)
    price_eur = float(problem.plant.moved_run_eur)
    plants = (CompiledPlant(problem, Weights()), CompiledPlant(free, Weights()))
    for line, free_line in zip(*(plant.lines for plant in plants), strict=True):
        least, free_least = line_least(line), line_least(free_line)
        assert least is not None
        assert free_least is not None
        jobs, at = least.jobs.tolist(), line.line_idx
        begun = line.plans[line.started[0]].placement.job_idx if line.started else None
        between = [[problem.is_moved(at, job, before) for job in jobs] for before in jobs]
        first = [problem.is_moved(at, job, begun) for job in jobs]
        assert (least.between_eur - free_least.between_eur).tolist() == [
            pytest.approx([price_eur * moved for moved in row], abs=1e-9) for row in between
        ]
        assert (least.first_eur - free_least.first_eur).tolist() == pytest.approx(
            [price_eur * moved for moved in first], abs=1e-9
        )


@pytest.mark.parametrize("seed", first(range(6)))
def test_a_queue_that_is_a_matrix_has_moved_runs_in_it(seed: int) -> None:
    """Every order costs by the matrix what the account says, its first run among them; and the least is
    proved.
    """
    rng = random.Random(seed)
    matrix = [[rng.randint(1, 40) if before != job else None for job in range(5)] for before in range(5)]
    free = open_path_problem(matrix)
    orders = list(every_order(free))
    problem = while_in_force(free, in_force_of(free, rng.choice(orders)), Fraction(rng.choice((3, 30))))
    compiled = compiled_line(problem, Weights())
    pairwise = as_pairwise(compiled)
    assert pairwise is not None
    least_eur, cost = float("inf"), pairwise.costs.cost
    for order in orders:
        jobs = [placement.job_idx for placement in order[0]]
        eur = pairwise.fixed_eur + sum(
            float(cost[before, job]) for before, job in zip([len(jobs), *jobs[:-1]], jobs, strict=True)
        )
        sequence = account_with(compiled.scheduler, order)
        assert eur == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-9)
        least_eur = min(least_eur, eur)
    result = solve(problem, Weights(), Stop(work=50_000_000), seed)
    assert float(result.sequences[0].weighed_eur) == pytest.approx(least_eur, rel=1e-9)
    assert result.gap == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_a_short_queue_of_one_line_is_proved_with_them(seed: int) -> None:
    """Growing beginnings prove the order that walking through all of them finds."""
    free = drawn_day(seed, DayShape(jobs=6, lines=1))
    orders = list(every_order(free))
    problem = while_in_force(free, in_force_of(free, random.Random(seed).choice(orders)), Fraction(25))
    scheduler = CompiledPlant(problem, Weights()).scheduler
    outcomes = DecodedCosting(problem, Weights(), orders[0]).outcomes(orders)
    least = min((outcome.faults, outcome.eur) for outcome in outcomes)
    best = found(problem, Weights(), 400_000)
    assert (best.faults, best.eur) == pytest.approx(least, rel=1e-9)
    assert best.eur == pytest.approx(scored(scheduler, best.order).eur, rel=1e-9)
    if not best.faults and best.bound_eur is not None:
        assert best.bound_eur <= best.eur * (1 + 1e-9)


def moved_runs(sequence: Sequence) -> int:
    return sum(run.moved for run in sequence.runs)


@pytest.mark.parametrize("seed", first([0, 5]))
def test_a_rising_price_keeps_more_runs_in_place(seed: int) -> None:
    """Of least orders a dearer move never has more of them: each would undercut the other."""
    free = small_day(seed, 5)
    orders = list(every_order_in_lots(free))
    in_force = in_force_of(free, random.Random(seed + 7).choice(orders))
    counts = []
    for price_eur in PRICES_EUR:
        problem = while_in_force(free, in_force, price_eur)
        least, _ = least_order(problem, Weights())
        best = found(problem, Weights(), 60_000)
        assert (best.faults, best.eur) == pytest.approx((least.faults, least.eur), rel=1e-9)
        counts.append(moved_runs(account(problem, best.order, Weights())))
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[-1]


@examples(15)
@given(SEEDS, GOAL_NAMES)
def test_no_search_ends_worse_than_what_is_in_force(seed: int, goal: str) -> None:
    problem = day_in_force(seed, 2, locked=False)
    order = as_in_force(problem)
    assert order is not None
    compiled = CompiledPlant(problem, GOALS[goal])
    kept = scored(compiled.scheduler, compiled.order(compiled.numbers(order)))
    best = found(problem, GOALS[goal], 1)
    assert (best.faults, best.eur) <= (kept.faults, kept.eur * (1 + 1e-9))


def test_so_dear_a_move_that_nothing_is_moved_keeps_what_is_in_force() -> None:
    free = drawn_day(4, DayShape(jobs=14, lines=3, limited_stock=False))
    compiled = CompiledPlant(free, Weights())
    order = compiled.order(plain_starts(compiled)[0])
    problem = while_in_force(free, in_force_of(free, order), Fraction(100_000))
    best = account(problem, found(problem, Weights(), 5_000).order, Weights())
    assert moved_runs(best) == 0
    assert jobs_of(best.order) == jobs_of(order)
    assert jobs_of(found(free, Weights(), 5_000).order) != jobs_of(order)


def jobs_of(order: Order) -> list[list[int]]:
    return [[placed.job_idx for placed in row] for row in order]


def test_the_result_is_the_same_for_any_number_of_threads_and_again() -> None:
    problem = day_in_force(11, 3, locked=True)
    results = [found(problem, Weights(), 8_000, threads) for threads in (1, 2, 2)]
    assert len({(result.order, result.eur) for result in results}) == 1


def test_a_price_without_a_sequence_in_force_changes_nothing() -> None:
    free = drawn_day(2, DayShape(jobs=12, lines=2, splits=True))
    priced = while_in_force(free, None, Fraction(50))
    gone = while_in_force(free, InForce(((RunInForce("done"),), ())), Fraction(50))
    first, *others = (found(problem, Weights(), 4_000) for problem in (free, priced, gone))
    assert all((other.order, other.eur) == (first.order, first.eur) for other in others[:1])
    assert others[1].eur <= first.eur
