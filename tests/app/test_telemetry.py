"""Log lines: one chain for all, and no secret in any of them."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest

from app.api.application import Parts, create_app
from app.security import Doorkeeper, Role, new_key
from app.settings import read_settings
from app.telemetry import RequestFigures, RequestLines, WorkerFigures, log, set_up_logs, without_secrets
from tests.app.api.conftest import Needs, Service, as_holder
from tests.app.api.die_shelf import DIES, die_routes


@pytest.fixture
def stream() -> Iterator[io.StringIO]:
    """Where all lines go; afterwards they go where they went before."""
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    told = io.StringIO()
    set_up_logs("debug", stream=told)
    yield told
    root.handlers[:] = handlers
    root.setLevel(level)


def lines(stream: io.StringIO) -> list[dict[str, Any]]:
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def test_a_line_is_json_with_its_time_level_and_fields(stream: io.StringIO) -> None:
    log("runwright.keys").info("key made", plant="Harbour", count=3)
    (line,) = lines(stream)
    assert line.pop("at").endswith("Z")
    assert line == {
        "event": "key made",
        "plant": "Harbour",
        "count": 3,
        "level": "info",
        "logger": "runwright.keys",
    }


def test_lines_of_libraries_go_the_same_way(stream: io.StringIO) -> None:
    logging.getLogger("uvicorn.error").warning("Started on %s:%s", "127.0.0.1", 8000)
    (line,) = lines(stream)
    assert line["event"] == "Started on 127.0.0.1:8000"
    assert line["logger"] == "uvicorn.error"
    assert line["level"] == "warning"


def test_requests_are_not_lines_of_uvicorn_too(stream: io.StringIO) -> None:
    logging.getLogger("uvicorn.access").info("GET /")
    assert stream.getvalue() == ""


def test_only_lines_of_the_level_and_above_are_written() -> None:
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    told = io.StringIO()
    try:
        set_up_logs("warning", stream=told)
        log().info("quiet")
        log().warning("heard")
    finally:
        root.handlers[:] = handlers
        root.setLevel(level)
    assert "quiet" not in told.getvalue()
    assert "heard" in told.getvalue()


def test_a_stack_trace_is_text_in_the_line(stream: io.StringIO) -> None:
    try:
        raise ZeroDivisionError("so it went")
    except ZeroDivisionError:
        log().error("failed", exc_info=True)
    (line,) = lines(stream)
    assert "ZeroDivisionError: so it went" in line["exception"]


KEY = new_key()


@pytest.mark.parametrize(
    "fields",
    [
        {"event": f"someone sent {KEY}"},
        {"event": "x", "anything": f"Bearer {KEY}"},
        {"event": "x", "headers": {"Authorization": f"Bearer {KEY}"}},
        {"event": "x", "headers": [("authorization", f"Bearer {KEY.secret}")]},
        {"event": "x", "headers": [(b"authorization", f"Bearer {KEY.secret}".encode())]},
        {"event": "x", "authorization": KEY.secret},
        {"event": "x", "password": KEY.secret},
        {"event": "x", "raw": f"Authorization: Bearer {KEY.secret}"},
        {"event": "x", "raw": f"{{'authorization': 'Bearer {KEY.secret}'}}"},
        {"event": "x", "raw": f"Authorization: Basic {KEY.secret}, Host: a"},
        {"event": "x", "raw": f"AUTHORIZATION={KEY.secret}"},
        {"event": "x", "database": f"postgresql://press:{KEY.secret}@db/runwright"},
        {"event": "x", "deep": [{"deeper": ({"key": str(KEY)},)}]},
        {"event": "x", "key": KEY},
        {"event": "x", "body": str(KEY).encode()},
    ],
)
def test_no_key_gets_into_a_line_however_it_is_logged(stream: io.StringIO, fields: dict[str, Any]) -> None:
    log().warning(**fields)
    logging.getLogger("some.library").warning("%s %s", fields["event"], fields)
    told = stream.getvalue()
    assert len(told.splitlines()) == 2
    assert KEY.secret not in told.splitlines()[0]
    if KEY.secret in str(fields) and "rw_" in str(fields):
        assert KEY.secret not in told


def test_a_key_in_a_stack_trace_is_cut(stream: io.StringIO) -> None:
    try:
        raise ValueError(f"cannot take {KEY}")
    except ValueError:
        log().error("failed", exc_info=True)
        logging.getLogger("some.library").exception("failed")
    assert KEY.secret not in stream.getvalue()
    assert stream.getvalue().count(KEY.public_id) >= 2


def test_what_webhooks_sign_with_is_cut() -> None:
    assert (
        without_secrets("signs with whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw=, and")
        == "signs with whsec_…, and"
    )


def test_what_is_no_secret_stays() -> None:
    text = "GET http://example.org:8000/a@b by rw_ at 12:30, authorized"
    assert without_secrets(text) == text


def test_whatever_a_client_does_with_its_key_no_line_has_it(stream: io.StringIO) -> None:
    service = Service()
    parts = Parts(Doorkeeper(service.keys), Needs(), RequestFigures(), RequestLines(stream=stream))
    app = create_app(read_settings({}), parts, [die_routes(service.dies)])
    key = service.keys.issue(Role.ADMIN)
    client = as_holder(app, key)
    client.get(f"{DIES}/broken/now")
    client.get(DIES, params={"search": str(key), "limit": "0"})
    client.get(f"{DIES}/{key}")
    client.get(f"/{key}", headers={"X-Request-Id": str(key), "User-Agent": str(key)})
    client.post(
        DIES, content=f'{{"code": "{key}", "{key}": 1}}', headers={"Content-Type": "application/json"}
    )
    client.get(DIES, headers={"Authorization": f"Basic {key}"})
    as_holder(app, f"{key}0").get(DIES)
    assert len(lines(stream)) >= 8
    assert key.secret not in stream.getvalue()


def test_durations_are_counted_up_to_each_limit() -> None:
    figures = RequestFigures()
    for seconds in (0.0005, 0.001, 0.02, 99.0):
        figures.begin()
        figures.end("/x", "GET", 200, seconds)
    text = figures.text().decode()
    assert 'runwright_request_seconds_bucket{le="0.001",method="GET",route="/x"} 2.0' in text
    assert 'runwright_request_seconds_bucket{le="0.025",method="GET",route="/x"} 3.0' in text
    assert 'runwright_request_seconds_bucket{le="+Inf",method="GET",route="/x"} 4.0' in text
    assert 'runwright_request_seconds_count{method="GET",route="/x"} 4.0' in text
    assert "runwright_requests_in_flight 0.0" in text


def test_what_a_worker_does_is_told_beside_the_requests() -> None:
    figures, worked = RequestFigures(), WorkerFigures()
    figures.registry.register(worked)
    worked.slots, worked.running, worked.claims = 2, 1, 3
    worked.waited(0.02)
    worked.began(4.0)
    worked.ended("finished")
    worked.ended("crashed")
    text = figures.text().decode()
    assert "runwright_planning_claims_total 3.0" in text
    assert 'runwright_planning_ends_total{how="crashed"} 1.0' in text
    assert 'runwright_planning_waited_seconds_bucket{le="0.025"} 1.0' in text
    assert "runwright_planning_overhead_seconds_sum 4.0" in text
    assert "runwright_planning_running 1.0" in text
    assert "runwright_planning_slots 2.0" in text
