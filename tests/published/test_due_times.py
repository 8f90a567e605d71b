"""One machine with due times, without set-ups.

"Book": Pinedo, Scheduling: Theory, Algorithms, and Systems (Springer; several editions). Data from
memory; every optimum derived again by enumeration.
"""

from __future__ import annotations

from itertools import permutations

import pytest

from solver.account import account
from solver.baselines import by_due_time
from solver.locks import Before
from solver.problem import Problem
from solver.sequence import Sequence
from tests.builders.textbook import TextbookJob, in_order, job_ids, largest_lateness_min, textbook_problem
from tests.published.accounts import PLAIN_MONEY, best_of, costed


def _ordered(problem: Problem, order: str) -> Sequence:
    return costed(problem, in_order(problem, order))


TOTAL_TARDINESS = textbook_problem(
    [
        TextbookJob(str(number), minutes, due_min=due, late_eur_per_min=1)
        for number, minutes, due in zip(
            (1, 2, 3, 4, 5), (121, 79, 147, 83, 130), (260, 266, 266, 336, 337), strict=True
        )
    ]
)
"""Book, 3.4 (Lawler's decomposition)."""


@pytest.mark.parametrize("order", ["12453", "21453"])
def test_the_least_total_tardiness_of_five_jobs_costs_370(order: str) -> None:
    assert _ordered(TOTAL_TARDINESS, order).cost.late_eur == 370


def test_due_time_order_has_a_total_tardiness_of_398() -> None:
    assert costed(TOTAL_TARDINESS, by_due_time(TOTAL_TARDINESS)).cost.late_eur == 398


def test_shortest_first_has_a_total_tardiness_of_393() -> None:
    shortest_first = sorted("12345", key=lambda job_id: _minutes(TOTAL_TARDINESS, job_id))
    assert _ordered(TOTAL_TARDINESS, "".join(shortest_first)).cost.late_eur == 393


def test_the_optimiser_finds_the_total_tardiness_of_370() -> None:
    best = best_of(TOTAL_TARDINESS)
    assert best.cost.late_eur == 370
    assert job_ids(best) in {tuple("12453"), tuple("21453")}


WEIGHTED_TARDINESS = textbook_problem(
    [
        TextbookJob(str(number), minutes, due_min=due, late_eur_per_min=weight)
        for number, minutes, due, weight in zip(
            (1, 2, 3, 4), (12, 8, 15, 9), (16, 26, 25, 27), (4, 5, 3, 5), strict=True
        )
    ]
)
"""Book, 3.6 (branch and bound); the book's own value was not verified."""


def test_the_optimiser_finds_the_weighted_tardiness_of_67() -> None:
    best = best_of(WEIGHTED_TARDINESS)
    assert best.cost.late_eur == 67
    assert job_ids(best) == tuple("1243")


def test_no_order_has_a_weighted_tardiness_below_67() -> None:
    assert (
        min(_ordered(WEIGHTED_TARDINESS, "".join(order)).cost.late_eur for order in permutations("1234"))
        == 67
    )


def _release_problem(later_due_min: int = 0) -> Problem:
    """Book, 3.2 (1|r_j|Lmax, branch and bound), with due times moved; any lateness costs 1 €."""
    return textbook_problem(
        [
            TextbookJob(str(number), minutes, ready_min=ready, due_min=due + later_due_min, late_eur=1)
            for number, minutes, ready, due in zip(
                (1, 2, 3, 4), (4, 2, 6, 5), (0, 1, 3, 5), (8, 12, 11, 10), strict=True
            )
        ]
    )


def test_the_best_order_with_ready_times_is_5_minutes_late_at_most() -> None:
    assert largest_lateness_min(_ordered(_release_problem(), "1342")) == 5


def test_no_order_with_ready_times_has_a_largest_lateness_below_5() -> None:
    problem = _release_problem()
    assert min(largest_lateness_min(_ordered(problem, "".join(order))) for order in permutations("1234")) == 5


def test_nothing_is_late_with_due_times_5_minutes_later() -> None:
    best = best_of(_release_problem(later_due_min=5))
    assert best.cost.late_eur == 0
    assert all(run.lateness_ms == 0 for run in best.runs)


def test_something_is_late_with_due_times_4_minutes_later_whatever_the_order() -> None:
    problem = _release_problem(later_due_min=4)
    for order in permutations("1234"):
        assert any(run.lateness_ms > 0 for run in _ordered(problem, "".join(order)).runs)
    assert best_of(problem).cost.late_eur == 1


MOORE_HODGSON = textbook_problem(
    [
        TextbookJob(str(number), minutes, due_min=due, late_eur=1)
        for number, minutes, due in zip((1, 2, 3, 4, 5), (7, 8, 4, 6, 6), (9, 17, 18, 19, 21), strict=True)
    ]
)
"""Book, 3.3; the rule: Moore, Management Science 15 (1968)."""


def test_the_optimiser_leaves_only_2_jobs_late() -> None:
    best = best_of(MOORE_HODGSON)
    assert best.cost.late_eur == 2
    assert sum(run.lateness_ms > 0 for run in best.runs) == 2


def test_no_order_leaves_fewer_than_2_jobs_late() -> None:
    orders = [in_order(MOORE_HODGSON, order) for order in permutations("12345")]
    assert min(account(MOORE_HODGSON, order, PLAIN_MONEY).cost.late_eur for order in orders) == 2


def test_a_missed_van_costs_the_same_however_late() -> None:
    """Jobs 1 and 2 behind the three that Moore's rule keeps, in either order."""
    assert _ordered(MOORE_HODGSON, "34512").cost.late_eur == 2
    assert _ordered(MOORE_HODGSON, "34521").cost.late_eur == 2


_CHAIN_JOBS = [
    TextbookJob(str(number), minutes, due_min=0, late_eur_per_min=weight)
    for number, minutes, weight in zip(
        (1, 2, 3, 4, 5, 6, 7), (3, 6, 6, 5, 4, 8, 10), (6, 18, 12, 8, 8, 17, 18), strict=True
    )
]
"""Book, 3.1 (chains): due at 0, so that tardiness is completion."""
_CHAINS = tuple(
    Before(first, then) for first, then in (("1", "2"), ("2", "3"), ("3", "4"), ("5", "6"), ("6", "7"))
)


def test_the_optimiser_finds_the_weighted_completion_of_1967_in_chains() -> None:
    best = best_of(textbook_problem(_CHAIN_JOBS, locks=_CHAINS))
    assert best.broken_locks == ()
    assert best.cost.late_eur == 1967
    assert job_ids(best) == tuple("1256374")


def test_without_chains_the_weighted_completion_is_1942() -> None:
    assert best_of(textbook_problem(_CHAIN_JOBS)).cost.late_eur == 1942


def _minutes(problem: Problem, job_id: str) -> int:
    return problem.jobs[problem.job_idx[job_id]].versions[0].quantity
