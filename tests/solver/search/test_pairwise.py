"""Queues whose changeovers depend on two neighbouring runs alone are matrices."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from itertools import permutations

import numpy as np
import pytest

from solver.account import account_with
from solver.jobs import Version
from solver.problem import Problem
from solver.search.compile import compiled_line
from solver.search.pairwise import Pairwise, as_pairwise
from solver.search.plant_search import plain_starts, search_plant
from solver.search.solve import Progress, solve
from solver.search.stop import Stop
from solver.weights import Weights
from tests.builders.days import one_line_day
from tests.builders.textbook import SETUP_MINUTES_ONLY, open_path_problem
from tests.published import br17


def _value(pairwise: Pairwise, jobs: list[int]) -> float:
    """Cost of an order by the matrix, in plain Python."""
    costs = pairwise.costs
    eur, at = pairwise.fixed_eur, 0
    for before, job in zip([len(jobs), *jobs[:-1]], jobs, strict=True):
        eur += float(costs.cost[before, job])
        at += int(costs.time[before, job]) + int(costs.process[job])
        late = at - int(costs.due[job])
        if late > 0:
            eur += float(costs.late_once[job]) + float(costs.late_per_unit[job]) * late
    return eur


def test_the_matrix_of_a_published_path_costs_what_the_account_says() -> None:
    compiled = compiled_line(open_path_problem(br17.MATRIX), Weights())
    pairwise = as_pairwise(compiled)
    assert pairwise is not None
    jobs = list(range(len(pairwise.numbers)))
    rng = random.Random(3)
    for _ in range(20):
        rng.shuffle(jobs)
        sequence = account_with(compiled.scheduler, compiled.order(pairwise.numbers[np.array(jobs)]))
        assert _value(pairwise, jobs) == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-9)


def test_a_line_that_keeps_tooling_is_no_matrix() -> None:
    assert as_pairwise(compiled_line(one_line_day(5, 20), Weights())) is None


def test_a_queue_whose_jobs_may_be_split_is_no_matrix() -> None:
    """A matrix has no lots, so the least of its orders need not be the least of all."""
    whole = open_path_problem(br17.MATRIX)
    jobs = tuple(replace(job, least_lot=1, versions=_of_two(job.versions)) for job in whole.jobs)
    assert as_pairwise(compiled_line(Problem(whole.plant, jobs), Weights())) is None
    never_split = tuple(replace(job, least_lot=None) for job in jobs)
    assert as_pairwise(compiled_line(Problem(whole.plant, never_split), Weights())) is not None


def _of_two(versions: tuple[Version, ...]) -> tuple[Version, ...]:
    """The same versions with two labels of each at least."""
    return tuple(replace(version, quantity=max(2, version.quantity)) for version in versions)


def test_a_published_path_is_proved_and_its_search_ends() -> None:
    """br17 as an open path: 25, verified by dynamic programming."""
    told: list[Progress] = []
    result = solve(open_path_problem(br17.MATRIX), SETUP_MINUTES_ONLY, Stop(work=50_000_000), 0, told.append)
    assert float(result.sequences[0].weighed_eur) == 25
    assert result.bound is not None
    assert float(result.bound) == pytest.approx(25)
    assert result.bound <= 25
    assert result.gap == pytest.approx(0, abs=1e-6)
    assert result.work < 50_000_000
    assert told[-1].gap == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("are_due", [False, True])
def test_no_order_undercuts_the_bound_of_a_line(seed: int, are_due: bool) -> None:
    rng = random.Random(seed)
    matrix = [[rng.randint(1, 40) if before != job else None for job in range(6)] for before in range(6)]
    problem = open_path_problem(matrix)
    if are_due:
        jobs = tuple(
            replace(job, due_ms=rng.randrange(200) * 60_000, late_eur_per_h=Fraction(90))
            for job in problem.jobs
        )
        problem = Problem(problem.plant, jobs)
    compiled = compiled_line(problem, Weights())
    pairwise = as_pairwise(compiled)
    assert pairwise is not None
    least = min(_value(pairwise, list(jobs)) for jobs in permutations(range(6)))
    found = search_plant(compiled.plant, plain_starts(compiled.plant), Stop(work=200_000), seed, 1)
    assert found.bound_eur is not None
    assert 0 < found.bound_eur <= least * (1 + 1e-12)
    assert found.eur == pytest.approx(least)
