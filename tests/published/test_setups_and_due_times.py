"""Set-ups that depend on the job before, and weighted tardiness.

Pinedo, Scheduling: Theory, Algorithms, and Systems (Springer; several editions), the example of the
composite dispatching rule with set-ups (14.2 in later editions); the rule: Lee, Bhaskaran and Pinedo,
IIE Transactions 29 (1997). Data from memory; the optimum of 98 is also the value remembered from the book.
"""

from __future__ import annotations

from itertools import permutations

from solver.sequence import Sequence
from tests.builders.textbook import (
    MS_PER_MIN,
    TextbookJob,
    in_order,
    job_ids,
    matrix_wash_ups,
    textbook_problem,
)
from tests.published.accounts import best_of, costed

FIRST_MIN = (1, 1, 3, 4)
BETWEEN_MIN = ((None, 4, 1, 3), (0, None, 1, 0), (1, 2, None, 3), (4, 3, 1, None))

ATCS = textbook_problem(
    [
        TextbookJob(str(number), minutes, due_min=due, late_eur_per_min=weight)
        for number, minutes, due, weight in zip(
            (1, 2, 3, 4), (13, 9, 13, 10), (12, 37, 21, 22), (2, 4, 2, 5), strict=True
        )
    ],
    wash_up_min=matrix_wash_ups(BETWEEN_MIN)
    | {("at the start", str(number)): minutes for number, minutes in enumerate(FIRST_MIN, start=1)},
    loaded_ink="at the start",
)


def _ordered(order: str) -> Sequence:
    return costed(ATCS, in_order(ATCS, order))


def test_the_order_of_the_dispatching_rule_costs_118() -> None:
    assert _ordered("4213").cost.late_eur == 118


def test_the_optimum_costs_98_and_ends_its_jobs_at_10_20_34_and_48_minutes() -> None:
    optimum = _ordered("2431")
    assert optimum.cost.late_eur == 98
    assert [run.end_ms // MS_PER_MIN for run in optimum.runs] == [10, 20, 34, 48]


def test_the_two_best_of_all_orders_cost_98_and_101() -> None:
    by_cost = sorted((float(_ordered("".join(order)).cost.late_eur), order) for order in permutations("1234"))
    assert by_cost[:2] == [(98, tuple("2431")), (101, tuple("1423"))]


def test_the_optimiser_does_not_stop_at_what_dispatching_gives() -> None:
    best = best_of(ATCS)
    assert best.cost.late_eur == 98
    assert job_ids(best) == tuple("2431")
