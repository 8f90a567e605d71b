"""The shape of every error there can be."""

from __future__ import annotations

import json

import pytest
from fastapi.exceptions import RequestValidationError
from pydantic import TypeAdapter
from starlette.exceptions import HTTPException

from app.api.problems import (
    KINDS,
    MOST_ERRORS_TOLD,
    PROBLEM_JSON,
    Problem,
    Refusal,
    problem_answer,
    problems,
    told,
)
from app.errors import (
    BadInput,
    Conflict,
    Fault,
    NotAllowed,
    NothingCanRun,
    NotMigrated,
    NotStored,
    OlderRevision,
    RestoreRefused,
    RunwrightError,
    Unavailable,
    VersionConflict,
)
from app.security import KeyRefused, Role
from tests.app.api.conftest import Asking, Service, as_holder
from tests.app.api.die_shelf import DIES, EXAMPLE

CASES: list[tuple[Exception, int, str]] = [
    (BadInput([Fault("must be given", field="due")]), 422, "fields"),
    (NothingCanRun(["No die."]), 422, "nothing-can-run"),
    (KeyRefused("Send a key."), 401, "key"),
    (NotAllowed("Not with this key."), 403, "role"),
    (NotStored("dies", "D-1"), 404, "not-found"),
    (Conflict("It runs."), 409, "conflict"),
    (OlderRevision([Fault("is older than the stored 5", field="revision", value="3")]), 409, "conflict"),
    (VersionConflict("dies", "D-1", asked=None, current=4), 409, "conflict"),
    (VersionConflict("dies", "D-1", asked=3, current=4), 412, "version"),
    (VersionConflict("dies", "D-1", asked=3, current=None), 412, "version"),
    (NotMigrated("The database has no tables yet."), 503, "unavailable"),
    (RestoreRefused("It is not empty."), 503, "unavailable"),
    (Unavailable("The database does not answer."), 503, "unavailable"),
    (HTTPException(404), 404, "not-found"),
    (HTTPException(405), 405, "method"),
    (HTTPException(418, "Short and stout"), 418, "status-418"),
    (RunwrightError("of a kind nobody thought of"), 500, "internal"),
    (ZeroDivisionError("division by zero"), 500, "internal"),
    *((Refusal(kind, "So it is."), kind.status, kind.slug) for kind in KINDS),
]


@pytest.mark.parametrize(
    ("error", "status", "slug"), CASES, ids=[f"{type(error).__name__}-{slug}" for error, _, slug in CASES]
)
def test_an_error_is_told_as_a_problem(error: Exception, status: int, slug: str) -> None:
    answer = problem_answer("the-request", told(error))
    assert answer.status_code == status
    assert answer.headers["content-type"] == PROBLEM_JSON
    problem = Problem.model_validate(json.loads(bytes(answer.body)))
    assert problem.type == f"/problems/{slug}"
    assert problem.status == status
    assert problem.instance == "the-request"
    assert problem.title
    assert problem.detail


def test_all_faults_are_told_with_their_places() -> None:
    faults = [
        Fault("must be given", field="items[0].due"),
        Fault("should be a number", file="dies.csv", row=3, field="teeth", value="many"),
        Fault("is not a table", file="dies.csv"),
    ]
    answer = json.loads(bytes(problem_answer("r", told(BadInput(faults))).body))
    assert answer["detail"] == "3 things are not as they should be; see errors."
    assert answer["errors"] == [
        {"field": "items[0].due", "right": "must be given"},
        {"field": "dies.csv: teeth", "row": 3, "value": "many", "right": "should be a number"},
        {"field": "dies.csv", "right": "is not a table"},
    ]


def test_of_many_faults_the_first_are_told_and_that_there_are_more() -> None:
    what = told(BadInput([Fault("no", field=f"items[{idx}]") for idx in range(MOST_ERRORS_TOLD + 1)]))
    answer = json.loads(bytes(problem_answer("r", what).body))
    assert len(answer["errors"]) == MOST_ERRORS_TOLD
    assert f"The first {MOST_ERRORS_TOLD} are told." in answer["detail"]


def test_a_long_value_is_told_shortened_and_half_a_character_does_not_break_the_answer() -> None:
    what = told(BadInput([Fault("no", value="x" * 10_000), Fault("no", value="\ud800")]))
    first, second = json.loads(bytes(problem_answer("r", what).body))["errors"]
    assert len(first["value"]) == 200
    assert second["value"] == "\ud800"


def test_what_nobody_foresaw_is_told_without_its_inner_workings() -> None:
    body = bytes(problem_answer("r", told(ValueError("password is hunter2"))).body).decode()
    assert "hunter2" not in body


def test_when_to_ask_again_is_told() -> None:
    assert problem_answer("r", told(Unavailable("Busy.", again_s=7))).headers["retry-after"] == "7"


def test_parameters_are_told_by_where_they_stand(asking: Asking) -> None:
    answer = asking(Role.ADMIN).get(DIES, params={"limit": "many", "cursor": "x" * 3000})
    assert answer.status_code == 422
    errors = {error["field"]: error for error in answer.json()["errors"]}
    assert errors["query.limit"]["value"] == "many"
    assert errors["query.limit"]["right"] == "should be a valid integer, unable to parse string as an integer"
    assert "query.cursor" in errors


def test_an_address_that_leads_nowhere_is_a_problem(asking: Asking) -> None:
    answer = asking(None).get("/api/v1/nothing")
    assert (answer.status_code, answer.headers["content-type"]) == (404, PROBLEM_JSON)


def test_another_method_is_told_all_that_are_there(asking: Asking) -> None:
    answer = asking(Role.ADMIN).delete(DIES)
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, POST"


def test_a_fault_of_the_service_has_the_id_of_the_request_and_nothing_else(service: Service) -> None:
    client = as_holder(service.app(), service.keys.issue(Role.ADMIN))
    answer = client.get(f"{DIES}/broken/now", headers={"X-Request-Id": "who-asked-17"})
    assert answer.status_code == 500
    assert answer.json()["instance"] == "who-asked-17"
    assert answer.headers["x-request-id"] == "who-asked-17"
    assert "inner working" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_something_that_is_there_already_is_a_conflict(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    assert client.post(DIES, json=EXAMPLE).status_code == 201
    assert client.post(DIES, json=EXAMPLE).status_code == 409


def test_a_route_may_say_more_problems() -> None:
    described = problems(KINDS[0], KINDS[1])
    assert set(described) == {KINDS[0].status, KINDS[1].status}


def test_examples_of_problems_are_problems() -> None:
    for answer in problems(*KINDS).values():
        content = answer["content"]
        assert isinstance(content, dict)
        for example in content[PROBLEM_JSON]["examples"].values():
            Problem.model_validate(example["value"])


def test_a_validation_error_of_the_framework_has_our_words() -> None:
    try:
        TypeAdapter(int).validate_python("x")
    except ValueError as error:
        details = [{**one, "loc": ("query", "limit")} for one in error.errors()]  # type: ignore[attr-defined]
    what = told(RequestValidationError(details))
    assert what.faults[0].field == "query.limit"
