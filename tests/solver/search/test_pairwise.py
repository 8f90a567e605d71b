"""Queues whose changeovers depend on two neighbouring runs alone are matrices."""

from __future__ import annotations

import random

import numpy as np
import pytest

from solver.account import account_with
from solver.search.compile import CompiledLine
from solver.search.pairwise import Pairwise, as_pairwise
from solver.weights import Weights
from tests.builders.days import one_line_day
from tests.builders.textbook import open_path_problem
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
    compiled = CompiledLine(open_path_problem(br17.MATRIX), Weights())
    pairwise = as_pairwise(compiled)
    assert pairwise is not None
    jobs = list(range(len(pairwise.numbers)))
    rng = random.Random(3)
    for _ in range(20):
        rng.shuffle(jobs)
        sequence = account_with(compiled.scheduler, compiled.order(pairwise.numbers[np.array(jobs)]))
        assert _value(pairwise, jobs) == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-9)


def test_a_line_that_keeps_tooling_is_no_matrix() -> None:
    assert as_pairwise(CompiledLine(one_line_day(5, 20), Weights())) is None
