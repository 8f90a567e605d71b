"""What is posted: times with offsets, revisions, and values that contradict each other."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from app.contracts.actuals import PostedActual
from app.contracts.base import Contract
from app.contracts.people import AskedKey, User
from app.contracts.posted_jobs import PostedJob
from app.contracts.stock_items import PostedDelivery, PostedRoll
from app.contracts.stored import Bulk
from app.contracts.tooling_items import PostedDie

JOB: dict[str, Any] = {
    "job": "J-1",
    "substrate": "PP-60",
    "die": "D-1",
    "versions": [{"version": "A", "quantity": 1000}],
}
ROLL = {"id": "R-1", "substrate": "PP-60", "width_mm": 330, "length_m": 1000}
ACTUAL = {"id": "A-1", "line": "H1", "job": "J-1", "started": "2027-03-01T06:00+01:00"}


def test_a_posted_job_keeps_its_offset_and_its_revision() -> None:
    job = PostedJob.model_validate(JOB | {"due": "2027-03-01T06:00+05:30", "revision": 7})
    assert job.due is not None
    assert job.due.utcoffset() == timedelta(hours=5, minutes=30)
    assert job.revision == 7


@pytest.mark.parametrize(
    ("contract", "values", "field"),
    [
        (PostedJob, JOB, "due"),
        (PostedJob, JOB, "ready"),
        (PostedRoll, ROLL, "received"),
        (PostedRoll, ROLL, "best_before"),
        (PostedRoll, ROLL, "arrives"),
        (PostedDelivery, ROLL, "at"),
        (PostedActual, ACTUAL, "started"),
        (PostedActual, ACTUAL, "ended"),
    ],
)
def test_a_posted_time_without_an_offset_is_refused(
    contract: type[Contract], values: dict[str, Any], field: str
) -> None:
    with pytest.raises(ValidationError, match="should have an offset"):
        contract.model_validate(values | {field: "2027-03-01T06:00"})


@pytest.mark.parametrize("revision", [-1, 1.5, "7", True, 2**60])
def test_a_revision_is_a_whole_number_that_json_can_hold(revision: object) -> None:
    with pytest.raises(ValidationError):
        PostedDie.model_validate(
            {"id": "D", "across": 1, "around": 1, "label_width_mm": 50, "revision": revision}
        )


def test_a_bulk_request_has_items() -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(Bulk[PostedJob]).validate_python({"items": []})


@pytest.mark.parametrize(
    ("values", "right"),
    [
        ({"ended": "2027-03-01T05:59+01:00"}, "ended is before started"),
        ({"changeover_start": "2027-03-01T06:01+01:00"}, "changeover_start is after started"),
    ],
)
def test_a_run_ends_after_it_began(values: dict[str, Any], right: str) -> None:
    with pytest.raises(ValidationError, match=right):
        PostedActual.model_validate(ACTUAL | values)


def test_the_same_moment_in_two_offsets_is_not_out_of_order() -> None:
    actual = PostedActual.model_validate(ACTUAL | {"ended": "2027-03-01T05:00Z"})
    assert actual.ended == actual.started


@pytest.mark.parametrize("asked", [{"role": "press"}, {"role": "scheduler", "line": "H1"}])
def test_a_line_belongs_to_the_role_press_alone(asked: dict[str, str]) -> None:
    for contract in (AskedKey, User):
        with pytest.raises(ValidationError, match="line should be given for the role press"):
            contract.model_validate({"name": "N"} | asked)
