"""The search: its starts, its limits, its progress, and the local optimum it ends in."""

from __future__ import annotations

import pytest

from solver.account import account
from solver.baselines import as_entered, by_due_time
from solver.schedule import Scheduler
from solver.search.construct import first_orders
from solver.search.evaluate import Evaluator
from solver.search.moves import Shift, Swap, moved_plans, moves_of
from solver.search.solve import Progress, solve
from solver.search.stop import Stop
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day


@pytest.mark.parametrize("seed", range(4))
def test_the_result_is_never_worse_than_either_baseline(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=12, lines=2))
    sequence = solve(problem, Weights(), Stop(work=0), seed).sequences[0]
    for order in (as_entered(problem), by_due_time(problem)):
        baseline = account(problem, order, Weights())
        assert (len(sequence.left_out), sequence.weighed_eur) <= (
            len(baseline.left_out),
            baseline.weighed_eur,
        )


def test_every_heuristic_places_every_job_once() -> None:
    problem = drawn_day(3, DayShape(jobs=15, lines=3))
    evaluator = Evaluator(Scheduler(problem, Weights()), Stop(work=1000))
    for plans in first_orders(evaluator):
        placed = [plan.placement.job_idx for line_plans in plans for plan in line_plans]
        assert sorted(placed) == evaluator.runnable


def test_a_larger_work_limit_never_gives_a_worse_result() -> None:
    problem = drawn_day(8, DayShape(jobs=14, lines=2))
    eur = [solve(problem, Weights(), Stop(work=work)).sequences[0].weighed_eur for work in (50, 500, 3000)]
    assert eur == sorted(eur, reverse=True)


def test_a_cancelled_search_keeps_what_it_had() -> None:
    problem = drawn_day(8, DayShape(jobs=14, lines=2))
    stop = Stop(work=10**9, cancelled=lambda: stop.done > 200)
    result = solve(problem, Weights(), stop)
    assert result.work <= 210
    assert result.sequences[0].weighed_eur <= account(problem, as_entered(problem), Weights()).weighed_eur


def test_progress_gets_better_step_by_step() -> None:
    seen: list[Progress] = []
    solve(drawn_day(8, DayShape(jobs=14, lines=2)), Weights(), Stop(work=2000), on_progress=seen.append)
    assert len(seen) > 1
    assert [step.work for step in seen] == sorted(step.work for step in seen)
    ranks = [(step.left_out, step.best_eur) for step in seen]
    assert ranks == sorted(ranks, reverse=True)


@pytest.mark.parametrize(("lines", "seed", "work"), [(1, 11, 1_500_000), (2, 11, 42_000)])
def test_no_swap_and_no_move_of_adjacent_runs_improves_a_result_of_sixty(
    lines: int, seed: int, work: int
) -> None:
    shape = DayShape(60, lines, closures=False, limited_stock=False, layers=1)
    problem = drawn_day(seed, shape)
    sequence = solve(problem, Weights(), Stop(work=work)).sequences[0]
    evaluator = Evaluator(Scheduler(problem, Weights()), Stop(work=0))
    plans = evaluator.plans(sequence.order)
    best = evaluator.score(plans)
    tried = 0
    for line_idx, line_plans in enumerate(plans):
        for position in range(len(line_plans)):
            for move in moves_of(evaluator, plans, line_idx, position):
                after = moved_plans(evaluator, plans, move) if isinstance(move, Shift | Swap) else None
                if after is not None:
                    tried += 1
                    better = evaluator.scheduler.run(after[0], limit_eur=best.eur * (1 - 1e-9))
                    assert better is None, move
    assert tried > 5_000
