"""Proofs beside the islands of a search: when they are tried, what they lead to, how they end."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest

from solver.search.islands import Found, Order, Rounds, Score, no_halt, search_islands
from solver.search.matrix import MatrixProblem, order_matrix
from solver.search.proving import (
    EFFORT_A_ROUND,
    FIRST_EFFORT,
    FIRST_ROUND,
    GROWTH,
    NONE_CHEAPER,
    UNCERTAIN,
    Answer,
    Ended,
    Proving,
    by_margin,
)
from solver.search.stop import Stop
from tests.bench.press_days import press_day
from tests.examples import first
from tests.solver.search.exact_orders import drawn_problem, least_late_cost

FOUND = Found((100.0,), np.arange(3), 0, 0.0)


@dataclass
class _Prover:
    """Answers what it is told to, and notes what it was asked."""

    answer: Answer = UNCERTAIN
    most_effort: float = 1000.0
    asked: list[tuple[float, float]] = field(default_factory=list)

    def least(self) -> float:
        return 40.0

    def cheaper(self, undercut: float, order: Order, effort: float, ended: Ended) -> Answer:
        self.asked.append((undercut, effort))
        return self.answer


def _proved(prover: _Prover, rounds: int, found: Found = FOUND, stop: Stop | None = None) -> Proving:
    proving = Proving(prover, by_margin, stop or Stop(work=1), no_halt())
    for _ in range(rounds):
        task = proving.begin(found)
        if task is not None:
            task()
    return proving


def test_efforts_grow_and_stay_within_a_share_of_the_rounds() -> None:
    for rounds in (1, FIRST_ROUND, FIRST_ROUND + 1, 50, 500):
        prover = _Prover()
        _proved(prover, rounds)
        efforts = [effort for _, effort in prover.asked]
        assert efforts == pytest.approx([FIRST_EFFORT * GROWTH**idx for idx in range(len(efforts))])
        assert sum(efforts[:-1]) <= EFFORT_A_ROUND * rounds
        assert bool(efforts) == (rounds > FIRST_ROUND)


def test_no_prover_is_asked_for_more_than_it_can() -> None:
    prover = _Prover(most_effort=FIRST_EFFORT * GROWTH)
    _proved(prover, 1000)
    assert len(prover.asked) == 2
    nothing = _Prover(most_effort=0.0)
    _proved(nothing, 1000)
    assert not nothing.asked


def test_an_order_with_faults_is_not_proved() -> None:
    prover = _Prover()
    assert _proved(prover, 100, Found((1.0, 100.0), np.arange(3), 0, 0.0)).value is None
    assert not prover.asked


def test_shortly_before_the_end_no_proof_is_begun() -> None:
    prover = _Prover()
    _proved(prover, 100, stop=Stop(time_s=0.4))
    assert not prover.asked
    _proved(prover, 100, stop=Stop(time_s=60))
    assert prover.asked


def test_what_is_proved_is_what_no_order_undercuts() -> None:
    assert _proved(_Prover(UNCERTAIN), FIRST_ROUND + 1).value == 40
    assert _proved(_Prover(NONE_CHEAPER), FIRST_ROUND + 1).value == by_margin(100)
    cheaper = Answer(np.array([1, 0, 2]), True, 90.0)
    assert _proved(_Prover(cheaper), FIRST_ROUND + 1).value == by_margin(90)
    uncertain = Answer(np.array([1, 0, 2]), False, 90.0)
    assert _proved(_Prover(uncertain), FIRST_ROUND + 1).value == 40


class _Idle:
    """An island that finds nothing; the first number of an order is what it costs."""

    def __init__(self) -> None:
        self._order: Order = np.array([100])

    def advance(self, work: int) -> int:
        return work

    @property
    def best(self) -> tuple[Score, Order]:
        return (float(self._order[0]),), self._order

    def adopt(self, order: Order) -> None:
        self._order = order


@pytest.mark.parametrize("stop", [lambda: Stop(work=1000), lambda: Stop(time_s=60)], ids=["work", "time"])
def test_what_was_found_beside_the_islands_counts(stop: Callable[[], Stop]) -> None:
    told = iter([lambda: ((70.0,), np.array([70])), lambda: None, lambda: ((60.0,), np.array([60]))])
    found = search_islands(
        [_Idle(), _Idle()],
        Rounds(10, 5),
        stop(),
        no_halt(),
        least=lambda: (60.0,),
        beside=lambda found: next(told, None),
    )
    assert found.score == (60.0,)
    assert found.order.tolist() == [60]


def test_without_a_time_limit_rounds_wait_for_what_is_beside_them() -> None:
    """So what comes out depends on the work alone."""
    seen: list[float] = []

    def beside(found: Found) -> object:
        seen.append(found.score[0])
        better = (found.score[0] - 1,), np.zeros(1)
        return lambda: threading.Event().wait(0.01) or better

    search_islands([_Idle()], Rounds(10, 5), Stop(work=60), no_halt(), beside=beside)  # type: ignore[arg-type]
    assert seen == [100.0 - idx for idx in range(len(seen))]
    assert len(seen) > 5


def test_what_is_beside_the_rounds_is_told_to_end_with_them() -> None:
    halt = no_halt()
    ended = threading.Event()

    def wait_for_halt() -> None:
        while not halt[0]:
            threading.Event().wait(0.001)
        ended.set()

    search_islands([_Idle()], Rounds(10, 5), Stop(time_s=0.2), halt, beside=lambda found: wait_for_halt)
    assert ended.is_set()


def test_a_failure_beside_the_rounds_ends_the_search() -> None:
    def fail() -> None:
        raise RuntimeError("no proof")

    with pytest.raises(RuntimeError, match="no proof"):
        search_islands([_Idle()], Rounds(10, 5), Stop(work=1000), no_halt(), beside=lambda found: fail)


@pytest.mark.parametrize("name", first(["20/5/10/2", "20/4/8/1", "30/4/8/1"]))
def test_a_press_day_is_proved_where_its_relaxation_leaves_a_gap(name: str) -> None:
    problem = MatrixProblem(press_day(name).setup)
    limit = 400_000_000
    result = order_matrix(problem, Stop(work=limit), threads=2)
    assert result.is_proved
    assert result.work < limit
    assert result.gap == 0


@pytest.mark.parametrize("seed", first([1, 2]))
def test_a_queue_of_ten_jobs_with_due_times_is_proved(seed: int) -> None:
    problem = drawn_problem(seed, 10, due=True)
    result = order_matrix(problem, Stop(work=100_000_000), seed, threads=2)
    assert result.is_proved
    assert result.value == result.bound == least_late_cost(problem) > 0
    assert result.work < 100_000_000


def test_threads_and_repetition_do_not_change_what_is_proved() -> None:
    problem = MatrixProblem(press_day("25/4/8/2").setup)
    results = [order_matrix(problem, Stop(work=60_000_000), 3, threads) for threads in (1, 2, 2)]
    assert len({(result.order, result.work, result.bound) for result in results}) == 1


def test_a_search_with_a_proof_under_way_ends_when_it_is_cancelled() -> None:
    problem = MatrixProblem(np.random.default_rng(5).integers(1, 9, (120, 120)))
    asked = 0

    def cancelled() -> bool:
        nonlocal asked
        asked += 1
        return asked > 30

    result = order_matrix(problem, Stop(time_s=60, cancelled=cancelled), threads=1)
    assert problem.value(result.order) == result.value
    assert result.bound is None or result.bound <= result.value
