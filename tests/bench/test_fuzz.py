"""The generator of requests counts what it asks, and finds what is not as OpenAPI says."""

from __future__ import annotations

import pytest
import schemathesis
from fastapi import FastAPI, HTTPException

from tests.bench import fuzz
from tests.bench.fuzz import Fuzzed, config, fuzzed


def _asked(app: FastAPI, examples: int = 3) -> Fuzzed:
    schema = schemathesis.openapi.from_asgi("/openapi.json", app, config=config("", 1, examples, fuzz.DRAWN))
    found = Fuzzed()
    fuzzed(schema, found)
    return found


def _app(status: int) -> FastAPI:
    """An application that documents 200 and 422, and answers with another status."""
    app = FastAPI()

    @app.get("/rolls/{roll}")
    def read(roll: int) -> int:
        if status != 200:
            raise HTTPException(status)
        return roll

    return app


def test_an_application_that_answers_as_it_says_has_no_faults() -> None:
    found = _asked(_app(200))
    assert found.faults == []
    assert found.count > 0


@pytest.mark.parametrize("status", [500, 418])
def test_an_answer_that_openapi_does_not_know_is_a_fault_with_the_request_that_makes_it(status: int) -> None:
    found = _asked(_app(status))
    assert found.failures
    assert all("curl -X GET" in failure.curl for failure in found.failures)
    assert {failure.route for failure in found.failures} == {"GET /rolls/{roll}"}


def test_calls_are_counted_by_route_and_status() -> None:
    found = _asked(_app(200))
    assert found.routes == {"GET /rolls/{roll}"}
    assert set(found.statuses) <= {200, 405, 422}
    assert found.statuses.total() == found.count


def test_a_route_that_takes_nothing_is_told() -> None:
    app = FastAPI()

    @app.get("/gone")
    def gone() -> int:
        raise HTTPException(404)

    assert _asked(app).never_taken == ["GET /gone"]


def test_the_generator_stops_at_so_many_calls() -> None:
    app = FastAPI()
    for number in range(5):
        app.get(f"/rolls/{number}")(lambda roll: roll)
    schema = schemathesis.openapi.from_asgi("/openapi.json", app, config=config("", 1, 10, fuzz.DRAWN))
    found = Fuzzed()
    fuzzed(schema, found, calls=5)
    assert 5 <= found.count < 5 * 10
