"""Theorems on orders that are optimal without set-ups, as properties of the account.

Smith, Naval Research Logistics Quarterly 3 (1956): ratio order minimises weighted completion. Jackson
(1955): due-time order minimises the largest lateness. Both from memory, both proved by exchange.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import by_due_time
from solver.problem import Problem
from tests.builders.textbook import TextbookJob, in_order, largest_lateness_min, textbook_problem
from tests.examples import examples
from tests.published.accounts import PLAIN_MONEY, costed


def _weighted_completion(problem: Problem, order: list[str]) -> Fraction:
    return costed(problem, in_order(problem, order)).cost.late_eur


@examples(40)
@given(st.lists(st.tuples(st.integers(1, 40), st.integers(1, 20)), min_size=2, max_size=7))
def test_no_exchange_of_neighbours_improves_on_ratio_order(
    minutes_and_weights: list[tuple[int, int]],
) -> None:
    """Due at 0, so that tardiness is completion."""
    jobs = [
        TextbookJob(str(number), minutes, due_min=0, late_eur_per_min=weight)
        for number, (minutes, weight) in enumerate(minutes_and_weights)
    ]
    problem = textbook_problem(jobs)
    by_ratio = [job.id for job in sorted(jobs, key=lambda job: Fraction(job.minutes, job.late_eur_per_min))]
    least = _weighted_completion(problem, by_ratio)
    for left in range(len(by_ratio) - 1):
        exchanged = [*by_ratio]
        exchanged[left], exchanged[left + 1] = exchanged[left + 1], exchanged[left]
        assert _weighted_completion(problem, exchanged) >= least


@examples(25)
@given(st.lists(st.tuples(st.integers(1, 40), st.integers(0, 120)), min_size=2, max_size=5))
def test_no_order_has_a_smaller_largest_lateness_than_due_time_order(
    minutes_and_dues: list[tuple[int, int]],
) -> None:
    jobs = [
        TextbookJob(str(number), minutes, due_min=due)
        for number, (minutes, due) in enumerate(minutes_and_dues)
    ]
    problem = textbook_problem(jobs)
    by_due = largest_lateness_min(costed(problem, by_due_time(problem)))
    for order in permutations(job.id for job in jobs):
        sequence = account(problem, in_order(problem, order), PLAIN_MONEY)
        assert largest_lateness_min(sequence) >= by_due
