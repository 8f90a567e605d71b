"""Short queues with due times, exactly: against dynamic programming without bounds, and their own bounds."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from solver.search.exact_paths import PathProver, cheaper_path
from solver.search.kernels.tables import Floats
from solver.search.path_islands import PathCosts
from solver.search.proving import NONE_CHEAPER
from solver.search.rest_costs import MOST_JOBS, LeastRuns, RestCosts
from tests.examples import first
from tests.solver.search.exact_orders import drawn_problem, least_late_cost

MANY = 1_000_000


def _go_on() -> bool:
    return False


def _drawn(seed: int, jobs: int, ready: bool = False) -> LeastRuns:
    """A queue in which set-ups, lateness by the unit and being late at all cost money."""
    rng = np.random.default_rng(seed)
    return LeastRuns(
        cost=rng.integers(0, 40, (jobs + 1, jobs)).astype(np.float64),
        time=rng.integers(0, 12, (jobs + 1, jobs)).astype(np.float64),
        process=rng.integers(1, 15, jobs).astype(np.float64),
        ready=rng.integers(0, 60, jobs).astype(np.float64) * ready,
        due=rng.integers(-5, 14 * jobs, jobs).astype(np.float64),
        late_per_unit=rng.integers(0, 6, jobs).astype(np.float64),
        late_once=rng.integers(0, 50, jobs).astype(np.float64),
        begin=3.0,
    )


def _behind(runs: LeastRuns, order: tuple[int, ...]) -> list[tuple[int, int, float]]:
    """Sets done along an order, the last job, and what is still to be paid behind it."""
    at, last, done, costs = runs.begin, runs.jobs, 0, [0.0]
    seen = [(0, last)]
    for job in order:
        at = max(at, float(runs.ready[job])) + float(runs.time[last, job] + runs.process[job])
        costs.append(float(runs.cost[last, job] + runs.late(job, np.array(at))))
        done, last = done | 1 << job, job
        seen.append((done, last))
    left = np.cumsum(costs[::-1])[::-1]
    return [(*each, float(rest)) for each, rest in zip(seen, [*left[1:], 0.0], strict=True)]


@pytest.mark.parametrize("ready", [False, True])
@pytest.mark.parametrize("seed", first(range(4)))
def test_no_order_has_less_to_pay_than_is_left_at_least(seed: int, ready: bool) -> None:
    runs = _drawn(seed, 6, ready)
    rest = RestCosts(runs)
    for order in permutations(range(6)):
        for done, last, left in _behind(runs, order):
            assert rest.setups_after[done, last] <= rest.after[done, last] <= left
    assert rest.least > 0


@pytest.mark.parametrize("seed", first(range(4)))
def test_without_due_times_what_is_left_is_exact(seed: int) -> None:
    runs = _drawn(seed, 6)
    never = LeastRuns(**{**vars(runs), "late_per_unit": np.zeros(6), "late_once": np.zeros(6)})
    assert RestCosts(never).least == min(_behind(never, order)[0][2] for order in permutations(range(6)))


@pytest.mark.parametrize("seed", first(range(6)))
def test_the_cheapest_order_is_found_and_none_below_it(seed: int) -> None:
    runs = _drawn(seed, 6)
    rest = RestCosts(runs)
    least = min(_behind(runs, order)[0][2] for order in permutations(range(6)))
    found = cheaper_path(runs, rest, least + 100, MANY, _go_on)
    assert (found.cost, found.is_certain) == (least, True)
    assert found.order is not None
    assert _behind(runs, tuple(found.order.tolist()))[0][2] == least
    assert cheaper_path(runs, rest, least, MANY, _go_on) == NONE_CHEAPER


@pytest.mark.parametrize("seed", first(range(4)))
def test_a_matrix_of_ten_jobs_is_proved(seed: int) -> None:
    problem = drawn_problem(seed, 10, due=True)
    arrays, least = problem.arrays, least_late_cost(problem)
    time = np.vstack([arrays.setup, arrays.initial])
    weight, nothing = arrays.weight.astype(np.float64), np.zeros(10)
    prover = PathProver(
        PathCosts(np.zeros(time.shape), time, arrays.process, arrays.due, weight, nothing, 1.0)
    )
    order = np.arange(10)
    assert prover.least() <= least
    assert prover.cheaper(least + 0.5, order, 1.0, _go_on).cost == least
    assert prover.cheaper(least - 0.5, order, 1.0, _go_on) == NONE_CHEAPER


def test_with_too_few_beginnings_or_told_to_end_nothing_is_certain() -> None:
    runs = _drawn(1, 8)
    rest = RestCosts(runs)
    assert not cheaper_path(runs, rest, 1e6, 100, _go_on).is_certain
    assert not cheaper_path(runs, rest, 1e6, MANY, lambda: True).is_certain


def test_longer_queues_have_no_tables_and_no_proofs() -> None:
    jobs = MOST_JOBS + 1
    with pytest.raises(ValueError, match=f"at most {MOST_JOBS} jobs"):
        RestCosts(_drawn(1, jobs))
    nothing: Floats = np.zeros(jobs)
    whole = np.zeros((jobs + 1, jobs), np.int64)
    ends = np.zeros(jobs, np.int64)
    assert (
        PathProver(PathCosts(np.zeros(whole.shape), whole, ends, ends, nothing, nothing, 1.0)).most_effort
        == 0
    )
