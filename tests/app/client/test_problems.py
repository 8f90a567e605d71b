"""What a service refuses is told as the same error as of a plan made here."""

from __future__ import annotations

import json
from typing import Any

import pytest

from app.client.problems import failure, refusal
from app.contracts.planning_requests import RequestProblem
from app.contracts.stored import Refusal
from app.errors import BadInput, Conflict, NotAllowed, NothingCanRun, RunwrightError, Unavailable

PROBLEM = "application/problem+json"


def told(status: int, media_type: str = PROBLEM, **problem: Any) -> RunwrightError:
    body = {"type": "/problems/x", "title": "It is so", "detail": "because.", "instance": "1", **problem}
    return refusal("http://here", status, media_type, json.dumps(body).encode())


def test_faults_are_told_field_by_field() -> None:
    errors = [
        {"field": "jobs[1]", "value": "J-0", "right": "should be a job that is stored"},
        {"row": 3, "field": "jobs.csv: due", "right": "should be a date"},
    ]
    error = told(422, errors=errors)
    assert isinstance(error, BadInput)
    assert str(error).splitlines() == [
        "jobs[1] “J-0”: should be a job that is stored",
        "row 3, jobs.csv: due: should be a date",
    ]


@pytest.mark.parametrize("status", [400, 413, 415, 422])
def test_input_that_cannot_be_taken_is_bad_input_even_without_a_field(status: int) -> None:
    error = told(status)
    assert isinstance(error, BadInput)
    assert str(error) == "because."


def test_where_no_job_can_run_the_reasons_are_told() -> None:
    error = told(422, type="/problems/nothing-can-run", detail="No job of the queue can run.\nJ-9 waits.")
    assert isinstance(error, NothingCanRun)
    assert error.reasons == ("J-9 waits.",)


@pytest.mark.parametrize(
    ("status", "kind"),
    [(401, NotAllowed), (403, NotAllowed), (404, Conflict), (409, Conflict), (429, Unavailable)],
)
def test_other_refusals_are_told_in_the_words_of_the_service(status: int, kind: type[RunwrightError]) -> None:
    error = told(status)
    assert type(error) is kind
    assert str(error) == "It is so. because."


@pytest.mark.parametrize(("media_type", "content"), [("text/html", b"<html>"), (PROBLEM, b"[1]")])
def test_who_is_no_service_of_ours_is_told_as_such(media_type: str, content: bytes) -> None:
    error = refusal("http://here", 502, media_type, content)
    assert isinstance(error, Unavailable)
    assert "http://here answers with status 502" in str(error)


def test_why_a_request_failed_is_told_alike() -> None:
    right = "these cannot all be kept: J-1 first; J-2 first"
    fields = RequestProblem(
        type="/problems/fields", title="Fields", errors=(Refusal(field="locks", right=right),)
    )
    assert str(failure(fields)) == f"locks: {right}"
    nothing = RequestProblem(
        type="/problems/nothing-can-run",
        title="No job can run",
        detail="No job of the queue can run.",
        errors=(Refusal(right="J-1: no line"),),
    )
    assert str(failure(nothing)) == "No job of the queue can run.\nJ-1: no line"
    dead = failure(RequestProblem(type="/problems/given-up", title="Given up", detail="At attempt 3."))
    assert isinstance(dead, Conflict)
    assert str(dead) == "Given up. At attempt 3."
