"""The least lateness of a queue: no order comes in below it, and where time or stock lacks it is seen."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, permutations, product

import pytest

from solver.account import account
from solver.calendar import Calendar
from solver.plant import Delivery, Plant, StockedWidth
from solver.problem import Problem
from solver.search.compile import CompiledPlant
from solver.search.late_bound import least_late_eur
from solver.search.line_bound import LineLeast, line_least
from solver.sequence import Order, Placement
from solver.weights import Weights
from tests.builders.textbook import MS_PER_MIN, UM_PER_M, TextbookJob, textbook_problem
from tests.examples import first

H_MIN = 60
CLOSED = Calendar(((150 * MS_PER_MIN, 400 * MS_PER_MIN), (500 * MS_PER_MIN, 530 * MS_PER_MIN)))


def _leasts(compiled: CompiledPlant) -> list[LineLeast]:
    leasts = [line_least(line) for line in compiled.lines]
    return [least for least in leasts if least is not None]


def _bound(problem: Problem) -> float:
    compiled = CompiledPlant(problem, Weights())
    return least_late_eur(compiled, _leasts(compiled))


def _by_itself(problem: Problem) -> float:
    """What all jobs' lateness would cost, each alone."""
    leasts = _leasts(CompiledPlant(problem, Weights()))
    return sum(min(float(least.late_eur[job]) for least in leasts) for job in range(len(problem.jobs)))


def _drawn(seed: int, jobs: int, lines: int) -> Problem:
    """A queue that takes about as long as it has time for, on lines that are closed at times."""
    rng = random.Random(seed)
    drawn = textbook_problem(
        [
            TextbookJob(
                str(number),
                minutes=rng.randrange(20, 120),
                ready_min=rng.choice((0, 0, rng.randrange(200))),
                due_min=rng.randrange(40, 60 * jobs // lines),
                late_eur=rng.choice((0, 80)),
                late_eur_per_min=rng.choice((1, 2)),
            )
            for number in range(jobs)
        ]
    )
    calendar = CLOSED if seed % 2 else Calendar()
    line = replace(drawn.plant.lines[0], calendar=calendar)
    plant = replace(drawn.plant, lines=tuple(replace(line, id=f"line {number}") for number in range(lines)))
    return Problem(plant, drawn.jobs)


def _orders(problem: Problem) -> Sequence[Order]:
    """Every order of jobs that all can run at the same stations everywhere."""
    jobs, lines = range(len(problem.jobs)), range(len(problem.plant.lines))
    return [
        tuple(
            tuple(Placement(job, (1, 2)) for job in order if line_of[job] == line_idx) for line_idx in lines
        )
        for order in permutations(jobs)
        for line_of in product(lines, repeat=len(jobs))
        if all(line_of[one] <= line_of[other] for one, other in pairwise(order))
    ]


def _least_of_all(problem: Problem) -> float:
    sequences = (account(problem, order, Weights()) for order in _orders(problem))
    return min(float(sequence.cost.late_eur) for sequence in sequences if not sequence.left_out)


@pytest.mark.parametrize("lines", [1, 2])
def test_no_order_of_a_small_queue_is_less_late(lines: int) -> None:
    bounds, leasts, tightened = 0.0, 0.0, 0
    for seed in first(range(8)):
        problem = _drawn(seed, 5 if lines == 1 else 4, lines)
        bound, least = _bound(problem), _least_of_all(problem)
        assert bound <= least * (1 + 1e-9) + 1e-6
        bounds, leasts = bounds + bound, leasts + least
        tightened += bound > _by_itself(problem) + 1
    assert bounds > 0.4 * leasts
    assert tightened > 0


def _with_stock(problem: Problem, on_hand_m: int, deliveries: Sequence[tuple[int, int]]) -> Problem:
    """With so much of its one stock, and deliveries in (minute, metres)."""
    (substrate,) = problem.plant.substrates
    (width,) = substrate.widths
    arriving = tuple(Delivery(minute * MS_PER_MIN, length * UM_PER_M) for minute, length in deliveries)
    stocked = StockedWidth(width.width_um, on_hand_m * UM_PER_M, arriving)
    plant: Plant = replace(problem.plant, substrates=(replace(substrate, widths=(stocked,)),))
    return Problem(plant, problem.jobs)


def test_jobs_that_have_to_wait_for_a_delivery_are_late() -> None:
    """Three jobs of an hour, stock for one and a half: two of them start with the delivery at 10 h or later,
    and end at 11 h or later though they were due at 9 h.
    """
    jobs = [
        TextbookJob(str(number), H_MIN, due_min=9 * H_MIN, late_eur=80, late_eur_per_min=1)
        for number in range(3)
    ]
    problem = _with_stock(textbook_problem(jobs), 90, [(10 * H_MIN, 200)])
    one_h_late = 80 + H_MIN
    assert _by_itself(problem) == 0
    assert _bound(problem) >= 2 * one_h_late - 1e-6
    assert _bound(problem) <= _least_of_all(problem)


def test_stock_that_suffices_makes_nobody_late() -> None:
    jobs = [TextbookJob(str(number), H_MIN, due_min=9 * H_MIN, late_eur=80) for number in range(3)]
    assert _bound(_with_stock(textbook_problem(jobs), 180, [(10 * H_MIN, 200)])) == pytest.approx(0)


def test_a_closed_line_has_no_time() -> None:
    """Due before the line opens at 400 min, two jobs of 100 min have 150 between them."""
    jobs = [TextbookJob(str(number), 100, due_min=390, late_eur=100) for number in range(2)]
    drawn = textbook_problem(jobs)
    line = replace(drawn.plant.lines[0], calendar=CLOSED)
    closed = Problem(replace(drawn.plant, lines=(line,)), drawn.jobs)
    assert _bound(drawn) == pytest.approx(0)
    # 50 of the 200 minutes come too late: a half of one job.
    assert _bound(closed) == pytest.approx(50)


@pytest.mark.parametrize("seed", first(range(4)))
def test_whatever_the_prices_they_give_a_bound(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """So it does not matter how exact the linear solver is."""
    rng = random.Random(seed)
    problem = _with_stock(_drawn(seed, 5, 1), 200, [(100, 200), (300, 400)])
    least = _least_of_all(problem)
    assert _bound(problem) <= least * (1 + 1e-9) + 1e-6
    for scale in (0.1, 10.0, 100.0):
        monkeypatch.setattr(
            "solver.search.late_bound._Programme.prices",
            lambda programme, scale=scale: [scale * rng.random() for _ in programme.limits],
        )
        assert _bound(problem) <= least * (1 + 1e-9) + 1e-6


def test_a_job_that_may_be_split_is_on_two_lines_at_once() -> None:
    """200 minutes of work, due in 100: whole it is late, in two lots on two lines it need not be."""
    drawn = textbook_problem([TextbookJob("1", 200, due_min=101, late_eur=80)])
    line = drawn.plant.lines[0]
    plant = replace(drawn.plant, lines=(line, replace(line, id="another")))
    assert _bound(Problem(plant, drawn.jobs)) == pytest.approx(80)
    in_lots = Problem(plant, (replace(drawn.jobs[0], least_lot=1),))
    assert _bound(in_lots) == pytest.approx(0)


def test_what_is_too_large_for_the_linear_solver_counts_job_by_job(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = _drawn(3, 5, 1)
    assert _bound(problem) > _by_itself(problem)
    monkeypatch.setattr("solver.search.late_bound.MOST_SHARES", 3)
    assert _bound(problem) == _by_itself(problem)
