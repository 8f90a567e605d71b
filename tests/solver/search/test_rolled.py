"""The search with rolls: what it finds, what a second search does to it, and what it is without rolls."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.cheapest_rolls import cheapest_rolls
from solver.ledger import web_ledger
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.rolls import Roll
from solver.search.rolled import REPAIR_SHARE, RolledResult, solve_with_rolls
from solver.search.solve import Progress, Status, solve
from solver.search.stop import Stop
from solver.trade_offs import dominates, objectives_of
from solver.weights import GOALS, Weights
from tests.builders.days import DayShape, drawn_day
from tests.builders.drawn_rolls import with_drawn_rolls
from tests.checker.check import check_sequence
from tests.examples import examples, first

M_UM = 1_000_000
WORK = 2_000


def rolled_day(seed: int, lines: int, jobs: int = 8) -> Problem:
    problem = drawn_day(seed, DayShape(jobs=jobs, lines=lines, limited_stock=False))
    return with_drawn_rolls(problem, account(problem, as_entered(problem), Weights()), seed)


def with_endless_rolls(problem: Problem) -> Problem:
    """Every stock is one roll a line that never ends."""
    lines = range(len(problem.plant.lines))
    substrates = tuple(
        replace(
            substrate,
            widths=tuple(
                StockedWidth.by_roll(
                    each.width_um,
                    tuple(Roll(f"{substrate.code} {each.width_um} {line}", 10**7 * M_UM) for line in lines),
                    0,
                )
                for each in substrate.widths
            ),
            usual_roll_um=None,
        )
        for substrate in problem.plant.substrates
    )
    return replace(problem, plant=replace(problem.plant, substrates=substrates))


def searched(problem: Problem, goal: str = "balanced", seed: int = 3, alternatives: int = 0) -> RolledResult:
    return solve_with_rolls(problem, GOALS[goal], Stop(work=WORK), seed, threads=1, alternatives=alternatives)


@examples(10)
@given(st.integers(0, 10**9), st.integers(1, 3), st.sampled_from(sorted(GOALS)))
def test_it_costs_what_it_is_said_to_and_no_more_than_after_the_first_search(
    seed: int, lines: int, goal: str
) -> None:
    result = searched(rolled_day(seed, lines), goal, seed)
    best = result.sequences[0]
    assert account(best.problem, best.sequence.order, GOALS[goal]).weighed_eur == best.sequence.weighed_eur
    ledger = web_ledger(best.problem, best.sequence)
    assert check_sequence(best.problem, best.sequence, GOALS[goal], ledger) == []
    assert result.result.work <= WORK
    if result.repair is not None:
        assert best.plan.rank <= result.repair.before.plan.rank
        assert best.plan.rank <= result.repair.after.plan.rank


def test_the_first_search_is_that_of_solve_with_its_share_of_the_work() -> None:
    problem = rolled_day(5, 2)
    first = solve(problem, Weights(), Stop(work=round(WORK * (1 - REPAIR_SHARE))), 3, threads=1)
    result = searched(problem)
    assert result.result.sequences[0].order == first.sequences[0].order
    assert (result.result.bound, result.result.gap) == (first.bound, first.gap)
    assert result.repair is not None
    chosen = cheapest_rolls(problem, first.sequences[0].order, Weights())
    assert result.repair.before.plan.rank == chosen[1].rank


def test_a_second_search_often_finds_something() -> None:
    results = [searched(rolled_day(seed, 2, jobs=20)) for seed in first((0, 5, 7, 8))]
    repairs = [result.repair for result in results if result.repair is not None]
    assert len(repairs) == len(results)
    assert 2 * sum(repair.is_better for repair in repairs) >= len(repairs)
    for result, repair in zip(results, repairs, strict=True):
        kept = repair.after if repair.is_better else repair.before
        assert result.sequences[0] is kept


@pytest.mark.parametrize("seed", first([5, 0]))
def test_the_rolls_of_the_order_that_was_asked_for_are_those_of_the_best(seed: int) -> None:
    problem = rolled_day(seed, 2, jobs=10)
    result = searched(problem)
    _, plan = cheapest_rolls(problem, result.asked, Weights())
    assert plan == result.sequences[0].plan


def test_where_rolls_cost_what_was_thought_there_is_no_second_search() -> None:
    result = searched(with_endless_rolls(drawn_day(3, DayShape(jobs=8, lines=2, limited_stock=False))))
    assert result.repair is None
    assert result.sequences[0].sequence.runs
    assert not any(run.roll_ends for run in result.sequences[0].sequence.runs)


def test_the_same_seed_and_work_give_the_same_sequences() -> None:
    one, other = (searched(rolled_day(5, 2), alternatives=2) for _ in range(2))
    assert [each.sequence for each in one.sequences] == [each.sequence for each in other.sequences]
    assert one.result.work == other.result.work


def test_alternatives_have_rolls_of_their_own() -> None:
    result = searched(rolled_day(5, 2, jobs=10), alternatives=3)
    best, *others = result.sequences
    assert others
    for each in others:
        assert each.plan.stretches
        assert each.sequence.order != best.sequence.order
        assert not dominates(objectives_of(best.sequence), objectives_of(each.sequence))
        again = account(each.problem, each.sequence.order, Weights())
        assert again.weighed_eur == each.sequence.weighed_eur
    ranks = [each.plan.rank for each in result.sequences]
    assert ranks == sorted(ranks)


def test_progress_is_told_in_both_searches_and_never_falls_back() -> None:
    told: list[Progress] = []
    solve_with_rolls(rolled_day(5, 2), Weights(), Stop(work=WORK), 3, told.append, threads=1)
    assert told[-1].work > WORK * (1 - REPAIR_SHARE)
    assert [each.best_eur for each in told] == sorted((each.best_eur for each in told), reverse=True)
    assert [each.work for each in told] == sorted(each.work for each in told)


@pytest.mark.parametrize("alternatives", [0, 2])
def test_without_rolls_it_is_the_search(alternatives: int) -> None:
    problem = drawn_day(6, DayShape(jobs=8, lines=2))
    plain = solve(problem, Weights(), Stop(work=WORK), 3, threads=1, alternatives=alternatives)
    result = searched(problem, alternatives=alternatives)
    assert [each.sequence for each in result.sequences] == list(plain.sequences)
    assert all(each.problem is problem for each in result.sequences)
    assert (result.result, result.repair) == (plain, None)


def test_nothing_that_can_run_is_said_as_ever() -> None:
    problem = rolled_day(4, 1)
    lines = tuple(replace(line, print_width_um=1) for line in problem.plant.lines)
    result = searched(replace(problem, plant=replace(problem.plant, lines=lines)))
    assert result.result.status is Status.NOTHING_RUNS
    assert result.sequences[0].sequence.runs == ()
