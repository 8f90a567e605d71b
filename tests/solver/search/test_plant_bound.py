"""The bound of a plant with every feature: no order of all jobs undercuts it."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from solver.account import account
from solver.baselines import started_order
from solver.feasibility import first_placement, station_choices
from solver.lock_conflicts import conflicting_locks
from solver.locks import Lock, OnLine, Started
from solver.problem import Problem
from solver.search.bounding import LeastCosts
from solver.search.compile import CompiledPlant, compiled_line
from solver.search.decode import PlantDecoder
from solver.search.pairwise import as_pairwise
from solver.search.plant_bound import least_costs
from solver.search.plant_search import plain_starts, search_plant
from solver.search.setup_bound import setup_bound
from solver.search.solve import Progress, solve
from solver.search.stop import Stop
from solver.sequence import Lot, Order
from solver.weights import GOALS, Weights
from tests.builders.days import (
    MIN_MS,
    DayShape,
    drawn_day,
    drawn_lots,
    drawn_order,
    one_line_day,
    scarce_line_day,
    with_scarce_cylinders,
)
from tests.builders.every_order import every_order
from tests.builders.scored import scored
from tests.builders.textbook import (
    SETUP_MINUTES_ONLY,
    TextbookJob,
    in_order,
    matrix_wash_ups,
    textbook_problem,
)
from tests.examples import first

ORDERS = 40


def _bound(compiled: CompiledPlant) -> float:
    costs = least_costs(compiled)
    assert costs is not None
    return costs.fixed + setup_bound(costs.lengths).value


def _holds(bound: float, eur: float) -> bool:
    return eur >= bound - 1e-9 * max(1.0, abs(bound))


def _locked(problem: Problem, rng: random.Random) -> Problem:
    """With a run that has started, and a job fixed to a line, where that can be."""
    lines = problem.plant.lines
    able = [
        (job_idx, line_idx)
        for job_idx in range(len(problem.jobs))
        for line_idx in range(len(lines))
        if station_choices(problem, line_idx, job_idx)
    ]
    locks: list[Lock] = []
    if able:
        job_idx, line_idx = rng.choice(able)
        ends_ms = rng.randrange(90) * MIN_MS
        locks.append(Started(problem.jobs[job_idx].id, lines[line_idx].id, -10 * MIN_MS, 0, ends_ms))
        others = [(job, line) for job, line in able if job != job_idx]
        if others:
            job_idx, line_idx = rng.choice(others)
            locks.append(OnLine(problem.jobs[job_idx].id, lines[line_idx].id))
    locked = Problem(problem.plant, problem.jobs, tuple(locks))
    return Problem(problem.plant, problem.jobs) if conflicting_locks(locked) else locked


def _behind_started(problem: Problem, order: Order) -> Order:
    """An order with started runs first, where they stand."""
    started = started_order(problem)
    gone = {placement.job_idx for placements in started for placement in placements}
    return tuple(
        (*first, *(each for each in placements if each.job_idx not in gone))
        for first, placements in zip(started, order, strict=True)
    )


@pytest.mark.parametrize("goal", sorted(GOALS))
@pytest.mark.parametrize("seed", first(range(2)))
@pytest.mark.parametrize("day", ["scarce", "ample"])
def test_no_drawn_order_of_one_line_undercuts_it(day: str, seed: int, goal: str) -> None:
    drawn = scarce_line_day(seed, 14) if day == "scarce" else one_line_day(seed, 14)
    compiled = CompiledPlant(with_scarce_cylinders(drawn), GOALS[goal])
    bound, decoder = _bound(compiled), PlantDecoder(compiled)
    assert bound > 0
    for number in range(ORDERS):
        decoded = decoder.decode(compiled.numbers(drawn_order(compiled.problem, 100 * seed + number)))
        assert any(decoded.left_out) or _holds(bound, decoded.eur)


@pytest.mark.parametrize("goal", sorted(GOALS))
@pytest.mark.parametrize("lines", [1, 2, 3])
def test_no_drawn_order_of_several_lines_undercuts_it(lines: int, goal: str) -> None:
    """Of thousands in all, with closures, tools that lines share and started runs."""
    compared = 0
    for seed in first(range(6)):
        shape = DayShape(jobs=9, lines=lines, limited_stock=seed % 2 > 0)
        problem = _locked(with_scarce_cylinders(drawn_day(seed, shape)), random.Random(seed))
        compiled = CompiledPlant(problem, GOALS[goal])
        bound, decoder = _bound(compiled), PlantDecoder(compiled)
        for number in range(ORDERS):
            order = _behind_started(problem, drawn_order(problem, 100 * seed + number))
            decoded = decoder.decode(compiled.numbers(order))
            if not any(decoded.left_out):
                assert _holds(bound, decoded.eur)
                compared += 1
    assert compared > ORDERS


@pytest.mark.parametrize("seed", first(range(8)))
@pytest.mark.parametrize("lines", [1, 2, 3])
def test_no_order_with_lots_and_joined_runs_undercuts_it(lines: int, seed: int) -> None:
    """Lots as the account allows them, three of a job and cut anywhere, not only as the search does."""
    shape = DayShape(jobs=6, lines=lines, closures=seed % 2 > 0, limited_stock=False, splits=True)
    problem = _locked(drawn_day(seed, shape), random.Random(seed))
    for goal in sorted(GOALS):
        compiled = CompiledPlant(problem, GOALS[goal])
        bound = _bound(compiled)
        for number in range(8):
            order = _behind_started(problem, drawn_lots(problem, 100 * seed + number))
            score = scored(compiled.scheduler, order)
            assert score.faults or _holds(bound, score.eur)


@pytest.mark.parametrize("splits", [False, True])
@pytest.mark.parametrize("goal", sorted(GOALS))
def test_the_best_of_all_orders_of_a_small_plant_does_not_undercut_it(goal: str, splits: bool) -> None:
    reached = 0.0
    for seed in first(range(5)):
        shape = DayShape(jobs=3, lines=2, limited_stock=False, layers=1, splits=splits)
        problem = drawn_day(seed, shape)
        compiled = CompiledPlant(problem, GOALS[goal])
        bound = _bound(compiled)
        scores = [scored(compiled.scheduler, order) for order in every_order(problem)]
        least_eur = min(score.eur for score in scores if not score.faults)
        assert _holds(bound, least_eur)
        reached = max(reached, bound / least_eur)
    assert reached > 0.75


@pytest.mark.parametrize("seed", first(range(8)))
def test_the_search_does_not_undercut_it(seed: int) -> None:
    """The search comes nearer to it than drawn orders do."""
    rng = random.Random(seed)
    shape = DayShape(jobs=7, lines=1 + seed % 3, limited_stock=False, splits=seed % 2 > 0)
    compiled = CompiledPlant(_locked(drawn_day(40 + seed, shape), rng), Weights())
    found = search_plant(compiled, plain_starts(compiled), Stop(work=8_000), seed, 1, bounded=False)
    assert found.faults or _holds(_bound(compiled), found.eur)


def _alike(problem: Problem, jobs: int) -> Problem:
    """A queue of so many jobs made like the first that a line can run."""
    like = next(job for job_idx, job in enumerate(problem.jobs) if station_choices(problem, 0, job_idx))
    like = replace(like, ready_ms=0, due_ms=None, may_join=True, low_migration=False)
    return Problem(problem.plant, tuple(replace(like, id=f"j{idx}") for idx in range(jobs)))


def test_runs_that_are_all_joined_cost_what_is_bounded() -> None:
    """One changeover, then nothing: a bound that counted a job change between them would be too high."""
    shape = DayShape(jobs=8, lines=1, closures=False, limited_stock=False, layers=1)
    compiled = CompiledPlant(_alike(drawn_day(5, shape), 4), Weights())
    eur = PlantDecoder(compiled).eur(plain_starts(compiled)[0])
    assert _bound(compiled) == pytest.approx(eur, rel=1e-9)


def test_a_job_in_lots_may_stand_between_others_more_than_once() -> None:
    """The way from one job to another is never longer than by a lot of a third."""
    for seed in first(range(6)):
        shape = DayShape(jobs=8, lines=2, limited_stock=False, splits=True)
        problem = drawn_day(seed, shape)
        costs = least_costs(CompiledPlant(problem, Weights()))
        whole = Problem(problem.plant, tuple(replace(job, least_lot=None) for job in problem.jobs))
        costs_whole = least_costs(CompiledPlant(whole, Weights()))
        assert costs is not None
        assert costs_whole is not None
        assert costs.fixed <= costs_whole.fixed * (1 + 1e-9)
        assert _total(costs) <= _total(costs_whole) * (1 + 1e-9)


def _total(costs: LeastCosts) -> float:
    return costs.fixed + setup_bound(costs.lengths).value


def test_lines_may_stay_empty() -> None:
    """More lines than jobs: the bound is what the job costs on the cheapest of them."""
    shape = DayShape(jobs=1, lines=3, closures=False, limited_stock=False, layers=1)
    problem = drawn_day(7, shape)
    compiled = CompiledPlant(problem, Weights())
    least_eur = min(scored(compiled.scheduler, order).eur for order in every_order(problem))
    assert _bound(compiled) == pytest.approx(least_eur, rel=1e-9)


def test_a_plan_of_several_lines_tells_its_gap() -> None:
    told: list[Progress] = []
    shape = DayShape(jobs=14, lines=3, closures=False, limited_stock=False, late_prices=False)
    result = solve(drawn_day(4, shape), Weights(), Stop(work=8_000), 0, on_progress=told.append)
    assert result.bound is not None
    assert result.gap is not None
    assert 0 <= result.gap < 0.6
    assert float(result.sequences[0].weighed_eur) == pytest.approx(float(result.bound) * (1 + result.gap))
    assert told[-1].gap == pytest.approx(result.gap)


def test_a_bound_is_a_fair_part_of_what_a_line_costs() -> None:
    result = solve(one_line_day(1, 40), Weights(), Stop(work=40_000), 0)
    assert result.bound is not None
    assert result.gap is not None
    assert 0 < result.gap < 0.5
    assert float(result.sequences[0].weighed_eur) == pytest.approx(float(result.bound) * (1 + result.gap))


def test_a_plan_that_leaves_jobs_out_has_no_bound() -> None:
    """An order without a job may cost less than all orders that have it."""
    for seed in range(60):
        result = solve(scarce_line_day(seed, 8), Weights(), Stop(work=50), 0)
        if result.sequences[0].left_out:
            assert result.bound is None
            return
    pytest.fail("no day leaves a job out")


def test_where_stations_are_passed_over_nothing_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """A job may cost less at stations that were not looked at."""
    problem = one_line_day(4, 8)
    assert least_costs(CompiledPlant(problem, Weights())) is not None
    monkeypatch.setattr("solver.search.compile.MOST_CHOICES", 1)
    monkeypatch.setattr("solver.search.plant_bound.MOST_CHOICES", 1)
    assert max(len(station_choices(problem, 0, job_idx)) for job_idx in range(8)) > 1
    assert least_costs(CompiledPlant(problem, Weights())) is None


def test_a_queue_that_would_be_a_matrix_is_bounded_with_the_lots_it_may_have() -> None:
    """Every way leads through job 1: whole, it helps once; in two lots, twice."""
    hub = [[None, 1, 1, 1], [1, None, 50, 50], [1, 50, None, 50], [1, 50, 50, None]]
    drawn = textbook_problem(
        [TextbookJob("1", minutes=2), TextbookJob("2"), TextbookJob("3"), TextbookJob("4")],
        matrix_wash_ups(hub),
        eur_per_min=1,
    )
    jobs = (replace(drawn.jobs[0], least_lot=1), *drawn.jobs[1:])
    problem = Problem(drawn.plant, jobs)
    whole = solve(drawn, SETUP_MINUTES_ONLY, Stop(work=5_000), 0)
    assert whole.bound == pytest.approx(52)
    assert as_pairwise(compiled_line(drawn, SETUP_MINUTES_ONLY)) is not None
    assert as_pairwise(compiled_line(problem, SETUP_MINUTES_ONLY)) is None
    result = solve(problem, SETUP_MINUTES_ONLY, Stop(work=5_000), 0)
    seats = first_placement(problem, 0, 0)
    assert seats is not None
    first, second = (replace(seats, lot=Lot(label, label + 1)) for label in (0, 1))
    two, three, four = in_order(problem, ("2", "3", "4"))[0]
    in_lots = account(problem, ((two, first, three, second, four),), SETUP_MINUTES_ONLY)
    assert in_lots.weighed_eur == 4
    assert result.bound is not None
    assert result.bound <= in_lots.weighed_eur
