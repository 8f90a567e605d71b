"""Whatever a search is asked, what comes out is right: over drawn plants with lots, locks, every goal."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered, by_due_time
from solver.ledger import web_ledger
from solver.lock_conflicts import conflicting_locks
from solver.locks import Started
from solver.problem import Problem
from solver.search.solve import ContradictoryLocksError, Status, solve
from solver.search.stop import Stop
from solver.sequence import Order, Sequence
from solver.weights import GOALS, Weights
from tests.builders.days import DayShape, drawn_day
from tests.builders.drawn_locks import lines_of, under_drawn_locks, under_keepable_locks
from tests.checker.check import check_sequence
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))
WORK = st.sampled_from((0, 300))
BASELINES: tuple[Callable[[Problem], Order], ...] = (as_entered, by_due_time)


def split_day(seed: int, lines: int) -> Problem:
    return drawn_day(seed, DayShape(jobs=8, lines=lines, splits=True))


def searched(problem: Problem, weights: Weights, work: int, seed: int) -> Sequence:
    """The sequence of a search, right in every respect that can be asked of any."""
    result = solve(problem, weights, Stop(work=work), seed, threads=1)
    [sequence] = result.sequences
    assert check_sequence(problem, sequence, weights, web_ledger(problem, sequence)) == []
    again = account(problem, sequence.order, weights)
    assert (again.lines, again.cost, again.weighed_eur) == (
        sequence.lines,
        sequence.cost,
        sequence.weighed_eur,
    )
    assert all(left_out.reasons for left_out in sequence.left_out)
    assert not any("does not place" in reason for left in sequence.left_out for reason in left.reasons)
    assert set(sequence.broken_locks) <= set(map(str, problem.locks))
    if result.status is Status.NOTHING_RUNS:
        assert sequence.runs == ()
    return sequence


def faults(problem: Problem, sequence: Sequence) -> int:
    """What could run and does not, job by job and lot by lot, and locks broken."""
    left_out = sum(
        len(left.reasons) for left in sequence.left_out if lines_of(problem, problem.job_idx[left.job])
    )
    return left_out + len(sequence.broken_locks)


def assert_no_worse(problem: Problem, weights: Weights, sequence: Sequence) -> None:
    """A sequence is not worse than the orders that nobody searched for."""
    for baseline in BASELINES:
        plain = account(problem, baseline(problem), weights)
        assert (faults(problem, sequence), float(sequence.weighed_eur)) <= (
            faults(problem, plain),
            float(plain.weighed_eur) * (1 + 1e-9),
        )


@examples(30)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES, WORK)
def test_the_checker_accepts_it_and_it_is_no_worse_than_the_baselines(
    seed: int, lines: int, goal: str, work: int
) -> None:
    problem = split_day(seed, lines)
    assert_no_worse(problem, GOALS[goal], searched(problem, GOALS[goal], work, seed))


@examples(30)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES, WORK)
def test_so_it_is_under_locks_that_can_be_kept(seed: int, lines: int, goal: str, work: int) -> None:
    free = split_day(seed, lines)
    assume(sum(bool(lines_of(free, job_idx)) for job_idx in range(len(free.jobs))) > 3)
    problem = under_keepable_locks(free, seed)
    sequence = searched(problem, GOALS[goal], work, seed)
    assert_no_worse(problem, GOALS[goal], sequence)
    for lock in problem.locks:
        if isinstance(lock, Started):
            [first] = (line.runs[0] for line in sequence.lines if line.line == lock.line)
            assert (first.job, first.end_ms, first.changeover) == (lock.job, lock.end_ms, None)


@examples(30)
@given(SEEDS, GOAL_NAMES)
def test_locks_that_may_contradict_each_other_are_refused_or_come_out_right(seed: int, goal: str) -> None:
    problem = under_drawn_locks(split_day(seed, 2), seed)
    if not conflicting_locks(problem):
        searched(problem, GOALS[goal], 300, seed)
        return
    with pytest.raises(ContradictoryLocksError) as refused:
        solve(problem, GOALS[goal], Stop(work=300), seed, threads=1)
    named = refused.value.locks
    assert set(named) <= set(problem.locks)
    with pytest.raises(ContradictoryLocksError):
        solve(Problem(problem.plant, problem.jobs, named), GOALS[goal], Stop(work=1), seed, threads=1)
    searched(Problem(problem.plant, problem.jobs, named[1:]), GOALS[goal], 1, seed)


def test_some_of_these_locks_are_refused_and_some_are_not() -> None:
    refused = {bool(conflicting_locks(under_drawn_locks(split_day(seed, 2), seed))) for seed in range(12)}
    assert refused == {True, False}
