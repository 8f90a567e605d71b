"""The best order so far of a search that goes on: it is costed as the search says."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import pytest

from app.contracts.locks import LineLock, StartedLock, TogetherLock
from app.contracts.orders import RunOrder
from app.contracts.sequences import Goal, Progress
from app.services import planning
from app.translation.run_orders import run_order_of
from app.translation.solving import Question
from solver.account import account
from solver.sequence import Lot, Order, Placement
from solver.weights import GOALS
from tests.app.costed_plans import QUEUE
from tests.app.test_lots import CUT, JOBS, SPLIT, START, TOTAL
from tests.builders.plant_days import drawn_day

WORK = 600
GOAL = Goal.BALANCED
PLACED = "J-2101"
STARTED = StartedLock.model_validate(
    {
        "lock": "started",
        "job": PLACED,
        "line": "H1",
        "changeover_start": "2027-03-01T05:00",
        "print_start": "2027-03-01T05:20",
        "end": "2027-03-01T07:00",
    }
)
TOGETHER = TogetherLock(lock="together", jobs=("J-2102", "J-2104"))


def told(question: Question, alternatives: int = 0) -> tuple[list[Progress], list[RunOrder]]:
    """What a search tells on its way: how far it is, and the best order that it has then."""
    progress: list[Progress] = []
    orders: list[RunOrder] = []

    def further(one: Progress) -> None:
        progress.append(one)
        orders.append(best[-1])

    best: list[RunOrder] = []
    planning.plan(
        question,
        GOAL,
        work=WORK,
        alternatives=alternatives,
        on_progress=further,
        on_incumbent=best.append,
    )
    assert progress
    assert all(one != other for one, other in pairwise(best))
    return progress, orders


def drawn(lines: int) -> Question:
    day = drawn_day(lines, jobs=8, lines=lines)
    return Question(day.plant, day.jobs, day.start)


@pytest.mark.parametrize(
    "question",
    [
        Question(QUEUE.plant, JOBS, START),
        Question(QUEUE.plant, JOBS, START, (STARTED, TOGETHER)),
        Question(QUEUE.plant, JOBS, START, (LineLock(lock="on-line", job="J-2104", line="P1"),)),
        drawn(1),
        drawn(2),
    ],
    ids=["one job may be split", "under locks", "a lock on a line", "one line", "two lines"],
)
def test_every_order_told_costs_what_the_search_says(question: Question) -> None:
    progress, orders = told(question)
    for one, order in zip(progress, orders, strict=True):
        sequence = account(question.problem, question.placements(order), GOALS[GOAL.value])
        assert float(sequence.weighed_eur) == pytest.approx(one.best_eur)
        assert RunOrder.model_validate_json(order.model_dump_json(by_alias=True)) == order
    assert planning.cost(question, orders[-1], GOAL).sequence.totals.jobs > 0


def test_what_is_used_of_the_limits_grows_while_alternatives_are_looked_for() -> None:
    progress, _ = told(Question(QUEUE.plant, QUEUE.jobs, START), alternatives=2)
    percents = [one.percent for one in progress]
    assert percents == sorted(percents)
    assert percents[0] < 70 < percents[-1] <= 100
    assert [one.work for one in progress] == sorted(one.work for one in progress)


def an_order(*lots: Lot | None) -> Order:
    """The job that may be split in some of its lots, another one, and nothing on the second line."""
    problem = Question(QUEUE.plant, JOBS, START).problem
    return (
        (
            *(Placement(problem.job_idx[SPLIT], (1, 2, 3), lot) for lot in lots),
            Placement(problem.job_idx[PLACED], (1, 3)),
        ),
        (),
    )


def given(order: Order) -> RunOrder:
    return run_order_of(Question(QUEUE.plant, JOBS, START).problem, order)


def left_out(order: RunOrder) -> Sequence[tuple[str, int, int]]:
    return [(left.job, left.lot.first_label, left.lot.last_label) for left in order.left_out_lots]


def test_jobs_and_labels_that_an_order_does_not_place_are_meant_to_stay_out() -> None:
    whole = given(an_order(None))
    assert whole.left_out == tuple(job.job for job in JOBS if job.job not in (SPLIT, PLACED))
    assert left_out(whole) == []
    assert left_out(given(an_order(Lot(0, CUT), Lot(CUT, TOTAL)))) == []
    assert left_out(given(an_order(Lot(CUT, TOTAL)))) == [(SPLIT, 1, CUT)]
    assert left_out(given(an_order(Lot(0, CUT)))) == [(SPLIT, CUT + 1, TOTAL)]
