"""The matrix entry: small queues against exact answers, limits, threads, and refusals."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from solver.search.matrix import MatrixProblem, MatrixResult, order_matrix
from solver.search.stop import Stop
from tests.examples import first
from tests.published import br17
from tests.solver.search.exact_orders import (
    drawn_problem,
    least_late_cost,
    least_of_all_orders,
    least_setup,
)

SHAPES = {"open": {}, "closed": {"closed": True}, "due": {"due": True}}
BR17 = [[0 if entry is None else entry for entry in row] for row in br17.MATRIX]


def _assert_sound(problem: MatrixProblem, result: MatrixResult) -> None:
    assert sorted(result.order) == list(range(len(problem)))
    assert problem.value(result.order) == result.value


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("jobs", [1, 2, 3, 4, 5, 6, 7, 8])
def test_no_order_of_a_small_queue_costs_less(shape: str, jobs: int) -> None:
    for seed in range(3 if jobs < 8 else 1):
        problem = drawn_problem(100 * jobs + seed, jobs, **SHAPES[shape])
        result = order_matrix(problem, Stop(work=400_000), seed=seed)
        _assert_sound(problem, result)
        assert result.value == least_of_all_orders(problem)


@pytest.mark.parametrize("shape", ["open", "closed"])
@pytest.mark.parametrize("seed", first([1, 2]))
def test_the_least_setup_of_twelve_jobs_is_found(shape: str, seed: int) -> None:
    problem = drawn_problem(seed, 12, **SHAPES[shape])
    assert order_matrix(problem, Stop(work=2_000_000), seed).value == least_setup(problem)


@pytest.mark.parametrize("seed", first([1, 2, 3]))
def test_the_least_late_cost_of_ten_jobs_is_found(seed: int) -> None:
    problem = drawn_problem(seed, 10, due=True)
    assert order_matrix(problem, Stop(work=2_000_000), seed).value == least_late_cost(problem)


def test_the_exact_methods_agree_with_each_other() -> None:
    for shape, exact in (("open", least_setup), ("closed", least_setup), ("due", least_late_cost)):
        problem = drawn_problem(7, 7, **SHAPES[shape])
        assert exact(problem) == least_of_all_orders(problem)


def test_the_tour_of_br17_takes_39_and_its_open_path_25() -> None:
    assert order_matrix(MatrixProblem(BR17, closed=True), Stop(work=4_000_000)).value == 39
    assert order_matrix(MatrixProblem(BR17), Stop(work=4_000_000)).value == 25


@pytest.mark.parametrize("shape", SHAPES)
def test_threads_do_not_change_what_is_found(shape: str) -> None:
    problem = drawn_problem(5, 60, **SHAPES[shape])
    results = [order_matrix(problem, Stop(work=1_000_003), seed=4, threads=threads) for threads in (1, 2, 4)]
    assert len({(result.order, result.work) for result in results}) == 1


@pytest.mark.parametrize("shape", SHAPES)
def test_more_work_never_gives_a_worse_order_and_none_exceeds_its_limit(shape: str) -> None:
    problem = drawn_problem(6, 40, **SHAPES[shape])
    values = []
    for work in (0, 1, 999, 30_000, 100_001, 3_000_000, 12_000_000):
        result = order_matrix(problem, Stop(work=work), seed=1)
        _assert_sound(problem, result)
        assert result.work <= work
        values.append(result.value)
    assert values == sorted(values, reverse=True)
    assert values[-1] < values[0]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("jobs", [1, 3, 4, 50])
def test_without_any_time_there_is_an_order(shape: str, jobs: int) -> None:
    problem = drawn_problem(8, jobs, **SHAPES[shape])
    result = order_matrix(problem, Stop(time_s=0))
    _assert_sound(problem, result)
    assert result.work == 0


@pytest.mark.parametrize("shape", SHAPES)
def test_a_search_cancelled_on_the_way_keeps_what_it_has(shape: str) -> None:
    problem = drawn_problem(9, 50, **SHAPES[shape])
    asked = 0

    def cancelled() -> bool:
        nonlocal asked
        asked += 1
        return asked > 5

    result = order_matrix(problem, Stop(work=10**15, cancelled=cancelled))
    _assert_sound(problem, result)
    assert 0 < result.work < 10**15


def test_progress_begins_at_once_never_gets_worse_and_ends_with_the_result() -> None:
    seen: list[MatrixResult] = []
    problem = drawn_problem(10, 50, due=True)
    result = order_matrix(problem, Stop(work=3_000_000), on_progress=seen.append)
    assert seen[0].work == 0
    assert [(seen[-1].order, seen[-1].work)] == [(result.order, result.work)]
    values = [progress.value for progress in seen]
    assert values == sorted(values, reverse=True)
    for progress in seen:
        _assert_sound(problem, progress)


def test_an_order_where_everything_is_in_time_costs_nothing() -> None:
    zeros = np.zeros((6, 6), dtype=int)
    problem = MatrixProblem(zeros, process=[1] * 6, due=[6, 5, 4, 3, 2, 1], weight=[9] * 6)
    result = order_matrix(problem, Stop(work=10_000))
    assert (result.value, result.order) == (0, (5, 4, 3, 2, 1, 0))


def test_a_search_ends_once_nothing_is_late() -> None:
    jobs, limit = 30, 50_000_000
    problem = MatrixProblem(
        np.ones((jobs, jobs)), process=[5] * jobs, due=[10_000] * jobs, weight=list(range(1, jobs + 1))
    )
    result = order_matrix(problem, Stop(work=limit))
    assert result.value == 0
    assert result.work < limit / 10


def test_numbers_up_to_the_limit_stay_exact() -> None:
    setup = [[0, 1, 2**50], [2**50, 0, 2**50 - 1], [3, 2**50, 0]] + [[5, 6, 7]] * 2
    square = [[*row, 2**49 + 1, 2**49] for row in setup]
    problem = MatrixProblem(square)
    result = order_matrix(problem, Stop(work=100_000))
    assert result.value == least_of_all_orders(problem)


def test_the_diagonal_is_not_looked_at() -> None:
    problem = MatrixProblem([[np.nan, 2.0], [1.0, -7.5]])
    assert order_matrix(problem, Stop(work=1)).value == 1


def test_a_problem_does_not_change_with_the_array_it_was_made_from() -> None:
    setup = np.array([[0, 2], [1, 0]])
    problem = MatrixProblem(setup)
    setup[:] = 9
    assert problem.value([1, 0]) == 1


OK = [[0, 1], [1, 0]]


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ({"setup": [[0, float("nan")], [1, 0]]}, "setup, row 0, column 1: must be a finite number, is nan"),
        ({"setup": [[0, 1], [float("inf"), 0]]}, "setup, row 1, column 0: must be a finite number, is inf"),
        ({"setup": [[0, -3], [1, 0]]}, "setup, row 0, column 1: must be at least 0, is -3"),
        ({"setup": [[0, 1.5], [1, 0]]}, r"setup, row 0, column 1: must be a whole number, is 1\.5"),
        ({"setup": [[0, 1, 2], [1, 0, 2]]}, r"as many columns as rows, at least 1, has the shape \(2, 3\)"),
        ({"setup": np.zeros((0, 0))}, r"as many columns as rows, at least 1, has the shape \(0, 0\)"),
        ({"setup": []}, "setup must have 2 dimension"),
        ({"setup": [[0, 1], [1]]}, "setup must have rows of one length"),
        ({"setup": [0, 1]}, "setup must have 2 dimension"),
        ({"setup": [["a", "b"], ["c", "d"]]}, "setup must hold whole numbers"),
        ({"setup": [[0, 10**30], [1, 0]]}, "setup must hold whole numbers"),
        ({"setup": [[0, 2**53 + 2], [1, 0]]}, r"setup, row 0, column 1: must be at most 2\^53"),
        ({"setup": [[0, 2**53], [2**53, 0]]}, r"can add up to 18014398509481984, which is more than 2\^53"),
        ({"initial": [1, -2]}, "initial, entry 1: must be at least 0, is -2"),
        ({"initial": [1]}, "initial must have 2 entries, one for each row of setup, has 1"),
        ({"process": [1, 2, 3]}, "process must have 2 entries, one for each row of setup, has 3"),
        ({"process": [[1, 2]]}, "process must have 1 dimension"),
        ({"due": [1, 2]}, "due is given without weight"),
        ({"weight": [1, 2]}, "weight is given without due"),
        ({"due": [1, 2], "weight": [1, -1]}, "weight, entry 1: must be at least 0, is -1"),
        ({"due": [1, float("nan")], "weight": [1, 1]}, "due, entry 1: must be a finite number, is nan"),
        ({"due": [1, -(2**52)], "weight": [1, 9]}, r"weight times lateness can add up to \d+, which is more"),
        ({"due": [1, 2], "weight": [1, 1], "closed": True}, "closed: a tour has no first job"),
        ({"initial": [1, 2], "closed": True}, "closed: a tour has no first set-up"),
    ],
)
def test_bad_input_is_refused_with_its_place(arguments: dict[str, Any], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        MatrixProblem(**({"setup": OK} | arguments))


@pytest.mark.parametrize("order", [[0, 0], [0], [0, 2], [0, 1, 1]])
def test_an_order_that_does_not_hold_every_job_once_has_no_value(order: list[int]) -> None:
    with pytest.raises(ValueError, match="order must hold every job from 0 to 1 once"):
        MatrixProblem(OK).value(order)


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ({"threads": 0}, "there must be an island and a thread"),
        ({"threads": 1.5}, "threads must be a whole number"),
        ({"seed": "1"}, "seed must be a whole number"),
        ({"seed": float("nan")}, "seed must be a whole number"),
    ],
)
def test_senseless_threads_and_seeds_are_refused(arguments: dict[str, Any], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        order_matrix(drawn_problem(1, 5), Stop(work=10), **arguments)


@pytest.mark.parametrize("seed", [-1, 2**70, 0])
def test_any_whole_number_is_a_seed(seed: int) -> None:
    problem = drawn_problem(2, 6)
    assert order_matrix(problem, Stop(work=100_000), seed).value == least_of_all_orders(problem)
