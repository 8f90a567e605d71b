"""What OpenAPI tells of the application."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from app.api.problems import PROBLEM_JSON
from app.security import Role
from tests.app.api.conftest import Service, as_holder
from tests.app.api.die_shelf import DIES, EXAMPLE
from tests.app.api.walking import steps


@pytest.fixture
def document(service: Service) -> dict[str, Any]:
    told: dict[str, Any] = as_holder(service.app(), None).get("/openapi.json").json()
    return told


def operations(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [
        (f"{method} {path}", operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def test_it_is_openapi_3_1_with_every_route(document: dict[str, Any], service: Service) -> None:
    assert document["openapi"].startswith("3.1")
    told = {name for name, _ in operations(document)}
    walked = {f"{step.method.lower()} {step.declared.path}" for step in steps(service.app())}
    assert told == walked - {"get /openapi.json"}


def test_every_reference_leads_to_a_schema(document: dict[str, Any]) -> None:
    names = set(re.findall(r'"#/components/schemas/([^"]+)"', json.dumps(document)))
    assert names
    assert names <= set(document["components"]["schemas"])


def test_no_schema_is_the_framework_s(document: dict[str, Any]) -> None:
    assert "HTTPValidationError" not in json.dumps(document)


def test_every_route_tells_its_problems_as_problems(document: dict[str, Any]) -> None:
    for name, operation in operations(document):
        refusals = {status: answer for status, answer in operation["responses"].items() if status >= "4"}
        assert {"429", "500", "503"} <= set(refusals), name
        for status, answer in refusals.items():
            schema = answer["content"][PROBLEM_JSON]["schema"]
            assert schema == {"$ref": "#/components/schemas/Problem"}, (name, status)


def test_a_route_that_needs_a_key_says_so_and_which_role(document: dict[str, Any]) -> None:
    replace = document["paths"][f"{DIES}/{{code}}"]["put"]
    assert replace["security"] == [{"key": []}]
    assert "`supervisor`" in replace["description"]
    assert {"401", "403"} <= set(replace["responses"])
    assert "security" not in document["paths"]["/healthz"]["get"]


def test_a_body_is_told_with_its_schema_and_examples(document: dict[str, Any]) -> None:
    create = document["paths"][DIES]["post"]
    content = create["requestBody"]["content"]["application/json"]
    assert content["schema"] == {"$ref": "#/components/schemas/ShelfDie"}
    assert content["examples"]["flexible"]["value"] == EXAMPLE
    assert {"400", "409", "413", "415", "422"} <= set(create["responses"])
    schema = document["components"]["schemas"]["ShelfDie"]
    assert schema["required"] == ["code", "repeat_mm"]
    assert schema["properties"]["worn_m"]["default"] == 0
    assert schema["properties"]["worn_m"]["type"] == "number"


def test_a_change_tells_what_its_condition_may_lead_to(document: dict[str, Any]) -> None:
    replace = document["paths"][f"{DIES}/{{code}}"]["put"]
    assert {"400", "412", "428"} <= set(replace["responses"])
    assert "ETag" in replace["responses"]["200"]["headers"]
    assert "304" in document["paths"][f"{DIES}/{{code}}"]["get"]["responses"]


def test_a_parameter_that_may_be_left_out_is_not_null(document: dict[str, Any]) -> None:
    for name, operation in operations(document):
        for parameter in operation.get("parameters", ()):
            assert "null" not in json.dumps(parameter["schema"]), (name, parameter["name"])
            assert parameter.get("description") or parameter["in"] == "path", (name, parameter["name"])


def test_every_answer_that_can_be_seen_here_is_told(document: dict[str, Any], service: Service) -> None:
    client = as_holder(service.app(), service.keys.issue(Role.ADMIN))
    for step in steps(service.app()):
        if step.declared.path == "/openapi.json":
            continue
        status = step.status(client, service.keys.issue(Role.ADMIN))
        told = document["paths"][step.declared.path][step.method.lower()]["responses"]
        assert str(status) in told, (str(step), status)
