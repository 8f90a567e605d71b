"""What is told of a request that cannot be worked out is what an answer over HTTP would tell."""

from __future__ import annotations

import pytest

from app.api import problems as answers
from app.errors import BadInput, Fault, NothingCanRun, Unavailable
from app.worker.problems import FIELDS, INTERNAL, INTERNAL_FAULT, NOTHING_RUNS, problem_of


@pytest.mark.parametrize(
    ("ours", "answered"),
    [
        (FIELDS, answers.FIELDS),
        (NOTHING_RUNS, answers.NOTHING_RUNS),
        (INTERNAL, answers.INTERNAL),
    ],
)
def test_kinds_of_problems_are_those_of_answers(ours: tuple[str, str], answered: answers.Kind) -> None:
    assert ours == (answered.type, answered.title)


def test_every_fault_is_told() -> None:
    faults = [Fault("should be another", field="locks", value="J-1"), Fault("should not be")]
    told = problem_of(BadInput(faults))
    assert [(error.field, error.value, error.right) for error in told.errors] == [
        ("locks", "J-1", "should be another"),
        (None, None, "should not be"),
    ]


def test_every_reason_why_nothing_can_run_is_told() -> None:
    told = problem_of(NothingCanRun(["J-1: no die", "J-2: no stock"]))
    assert told.type == NOTHING_RUNS[0]
    assert [error.right for error in told.errors] == ["J-1: no die", "J-2: no stock"]


def test_of_what_nobody_foresaw_nothing_is_told_but_that_it_happened() -> None:
    assert problem_of(RuntimeError("secret")) == INTERNAL_FAULT
    assert problem_of(Unavailable("a part is away")).detail == "a part is away"
