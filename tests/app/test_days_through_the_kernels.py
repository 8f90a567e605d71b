"""Every line of the sample day and of generated days, through the kernel and through the account."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest

from app.translation.solving import Question
from solver.weights import GOALS
from tests.builders.days import on_one_line
from tests.builders.decoded import assert_decoded_as_accounted
from tests.builders.plant_days import Day, drawn_day, sample_day

DAYS: dict[str, Callable[[], Day]] = {
    "sample": sample_day,
    "drawn 1": partial(drawn_day, 1, 40, 3),
    "drawn 2": partial(drawn_day, 2, 60, 4),
}


@pytest.mark.parametrize("goal", sorted(GOALS))
@pytest.mark.parametrize("name", DAYS)
def test_every_line_of_a_day_comes_out_as_in_the_account(name: str, goal: str) -> None:
    day = DAYS[name]()
    problem = Question(day.plant, day.jobs, day.start).problem
    for line_idx in range(len(problem.plant.lines)):
        assert_decoded_as_accounted(on_one_line(problem, line_idx), GOALS[goal], line_idx, orders=1)
