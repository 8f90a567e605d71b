"""Around every answer: an id, headers, a line, figures."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest

from app.api.application import Parts, create_app
from app.api.health import ALIVE, READY
from app.security import Doorkeeper, Role
from app.settings import read_settings
from app.telemetry import RequestFigures, RequestLines
from tests.app.api.conftest import Asking, Needs, Service, as_holder
from tests.app.api.die_shelf import DIES, EXAMPLE, die_routes


@pytest.mark.parametrize("path", [ALIVE, "/nowhere", DIES, f"{DIES}/broken/now", "/openapi.json"])
def test_every_answer_has_the_headers_that_keep_browsers_out(asking: Asking, path: str) -> None:
    headers = asking(Role.ADMIN).get(path).headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["content-security-policy"] == "default-src 'none'; frame-ancestors 'none'"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["cache-control"] == "no-store"
    assert "server" not in headers


def test_what_has_a_version_may_be_kept_but_is_checked_before_use(asking: Asking) -> None:
    client = asking(Role.ADMIN)
    client.post(DIES, json=EXAMPLE)
    assert client.get(f"{DIES}/D-17").headers["cache-control"] == "private, no-cache"


def test_an_id_that_was_sent_is_kept(asking: Asking) -> None:
    answer = asking(None).get("/nowhere", headers={"X-Request-Id": "mis-2027.03-01_A"})
    assert answer.headers["x-request-id"] == answer.json()["instance"] == "mis-2027.03-01_A"


@pytest.mark.parametrize(
    "sent", ["short", "x" * 65, "with blanks in it", 'quote"quote', "-begins-with-a-dash", ""]
)
def test_an_id_that_is_not_plain_is_replaced(asking: Asking, sent: str) -> None:
    answer = asking(None).get(ALIVE, headers={"X-Request-Id": sent})
    assert answer.headers["x-request-id"] != sent
    assert len(answer.headers["x-request-id"]) == 32


class Watched:
    """A service whose lines and figures are at hand."""

    def __init__(self, service: Service) -> None:
        self.stream = io.StringIO()
        self.figures = RequestFigures()
        parts = Parts(Doorkeeper(service.keys), Needs(), self.figures, lines=RequestLines(stream=self.stream))
        self.app = create_app(read_settings({}), parts, [die_routes(service.dies)])

    @property
    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.stream.getvalue().splitlines()]


@pytest.fixture
def watched(service: Service) -> Watched:
    return Watched(service)


def test_a_request_is_a_line_with_who_asked_for_what(watched: Watched, service: Service) -> None:
    key = service.keys.issue(Role.ADMIN, name='Anna "the boss" Ä')
    as_holder(watched.app, key).get(f"{DIES}/D-17", headers={"X-Request-Id": "request-1"})
    (line,) = watched.lines
    assert line.pop("ms") > 0
    assert line.pop("at").endswith("Z")
    assert line == {
        "level": "info",
        "event": "answered",
        "request_id": "request-1",
        "method": "GET",
        "route": f"{DIES}/{{code}}",
        "status": 404,
        "holder": 'Anna "the boss" Ä',
        "plant": "Harbour Labels",
    }


def test_health_is_a_line_only_when_it_is_bad(service: Service) -> None:
    stream, needs = io.StringIO(), Needs()
    parts = Parts(Doorkeeper(service.keys), needs, lines=RequestLines(stream=stream))
    client = as_holder(create_app(read_settings({}), parts, []), None)
    client.get(ALIVE)
    client.get(READY)
    assert stream.getvalue() == ""
    needs.missing.append("The database does not answer.")
    client.get(READY)
    assert json.loads(stream.getvalue())["status"] == 503


def test_no_line_is_written_where_none_is_wanted(service: Service) -> None:
    stream = io.StringIO()
    parts = Parts(Doorkeeper(service.keys), Needs(), lines=RequestLines(stream=stream))
    client = as_holder(create_app(read_settings({}, log_requests=False), parts, []), None)
    client.get("/nowhere")
    assert stream.getvalue() == ""


def test_requests_are_counted_by_template_and_not_by_address(watched: Watched, service: Service) -> None:
    client = as_holder(watched.app, service.keys.issue(Role.ADMIN))
    for idx in range(20):
        client.get(f"{DIES}/D-{idx}")
        client.get(f"/nowhere/{idx}")
    client.request("BREW", DIES)
    text = client.get("/metrics").text
    assert f'runwright_requests_total{{method="GET",route="{DIES}/{{code}}",status="404"}} 20.0' in text
    assert 'runwright_requests_total{method="GET",route="(none)",status="404"} 20.0' in text
    assert f'runwright_requests_total{{method="OTHER",route="{DIES}",status="405"}} 1.0' in text
    assert "D-1" not in text
    assert f'runwright_request_seconds_count{{method="GET",route="{DIES}/{{code}}"}} 20.0' in text
    assert "runwright_requests_in_flight 1.0" in text


def test_figures_are_for_supervisors(service: Service) -> None:
    app = service.app()
    assert as_holder(app, service.keys.issue(Role.SUPERVISOR)).get("/metrics").status_code == 200
    assert as_holder(app, service.keys.issue(Role.SCHEDULER)).get("/metrics").status_code == 403


def test_a_service_that_lacks_something_says_what_and_when_to_ask_again(service: Service) -> None:
    client = as_holder(service.app(), None)
    assert client.get(READY).json() == {"status": "ready"}
    service.needs.missing += ["The database does not answer.", "The disk is full."]
    answer = client.get(READY)
    assert answer.status_code == 503
    assert answer.json()["detail"] == "The database does not answer. The disk is full."
    assert int(answer.headers["retry-after"]) > 0


def test_a_long_answer_is_gzipped_for_who_takes_it(asking: Asking) -> None:
    client = asking(None)
    packed = client.get("/openapi.json", headers={"Accept-Encoding": "br, gzip;q=0.8"})
    assert packed.headers["content-encoding"] == "gzip"
    assert packed.headers["vary"] == "Accept-Encoding"
    assert int(packed.headers["content-length"]) < len(packed.content)
    for takes in ("identity", "br", "gzip;q=0", "*;q=0.0, gzip ; q=0.000"):
        plain = client.get("/openapi.json", headers={"Accept-Encoding": takes})
        assert "content-encoding" not in plain.headers, takes
        assert plain.content == packed.content


def test_a_short_answer_is_not_gzipped(asking: Asking) -> None:
    assert "content-encoding" not in asking(None).get(ALIVE, headers={"Accept-Encoding": "gzip"}).headers
