"""Generated requests on every route, on both databases: every answer is as OpenAPI says.

`python -m tests.bench fuzz` asks thousands; here every route is asked a few times, in this process.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import pytest
import schemathesis
from schemathesis.core.result import Ok
from sqlalchemy import URL
from starlette.testclient import TestClient

from app.api.examples import WEBHOOK
from app.security import Role
from tests.app.service.served import send_sample, served
from tests.bench.fuzz import Fuzzed, config, fuzzed, known_keys

SEED, EXAMPLES = 20_270_301, 2
PHASES = ("examples", "fuzzing")


ORDER = {"name": "by hand", "lines": [{"line": "H1", "runs": [{"job": "J-2101"}, {"job": "J-2103"}]}]}


def _ask_and_keep(client: TestClient) -> None:
    """A planning request that is over, and a sequence."""
    made = client.post("/api/v1/planning-requests", json={"work": 10})
    assert client.post(f"{made.headers['location']}/cancellation").status_code == 200
    assert client.post("/api/v1/sequences", json=ORDER).status_code == 201


@pytest.fixture
def asked(database: URL) -> Iterator[Fuzzed]:
    """What came of some requests on every route."""
    with served(database) as service:
        send_sample(service.asking())
        made = service.asking().post("/api/v1/webhooks", json=WEBHOOK)
        assert service.asking().post(f"{made.headers['location']}/test").status_code == 201
        _ask_and_keep(service.asking())
        key = service.key(Role.ADMIN)
        known = known_keys(lambda path: service.asking().get(path).json())
        schema = schemathesis.openapi.from_asgi(
            "/openapi.json", service.app, config=config(key, SEED, EXAMPLES, PHASES, known)
        )
        found = Fuzzed()
        fuzzed(schema, found)
        routes = {one.ok().label for one in schema.get_all_operations() if isinstance(one, Ok)}
        assert found.routes == routes
        yield found


def test_every_answer_is_as_openapi_says(asked: Fuzzed) -> None:
    assert asked.faults == []
    assert not [status for status in asked.statuses if status >= 500]
    by_route = Counter[str]()
    for (route, _), count in asked.calls.items():
        by_route[route] += count
    # A route with a body of which hardly a request can be made up has a description that nobody can read.
    with_body = {route for route in by_route if route.startswith(("POST", "PUT"))}
    assert [route for route in with_body if by_route[route] < 2] == []
