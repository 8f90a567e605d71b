"""Streams of events, from a service in a process of its own."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest
from httpx_sse import EventSource, ServerSentEvent
from starlette.types import Message

from app.api.event_stream import EventStreams
from app.contracts.planning_requests import EventKind
from app.services.request_stories import Place, Story
from tests.app.api.followed_service import MOST_AT_ONCE, MOST_STREAMS, Tales
from tests.app.request_tales import event

ROOT = Path(__file__).parents[3]
LONG_S = 60.0


@dataclass
class Service:
    """The process, and what it answers."""

    process: subprocess.Popen[str]
    address: str = ""
    lines: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.address = self.told()
        self.key = self.do("key", "MIS")

    def told(self) -> str:
        """The next line it prints."""
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def do(self, *words: str) -> str:
        """Have it do something."""
        assert self.process.stdin is not None
        print(*words, file=self.process.stdin, flush=True)
        return self.told()

    def until_counted(self, streams: int, followed: int) -> None:
        """Wait until so many streams are open."""
        until_s = time.monotonic() + LONG_S
        while (counted := self.do("count")) != f"{streams} {followed}":
            assert time.monotonic() < until_s, counted
            time.sleep(0.01)

    def path(self, request: str) -> str:
        return f"{self.address}/api/v1/planning-requests/{request}/events"

    def headers(self, last: str | None = None, key: str | None = None) -> dict[str, str]:
        behind = {} if last is None else {"Last-Event-ID": last}
        return {"Authorization": f"Bearer {key or self.key}", **behind}

    def get(self, request: str, last: str | None = None) -> httpx.Response:
        """A stream that ends by itself, or a refusal."""
        return httpx.get(self.path(request), headers=self.headers(last), timeout=LONG_S)

    @contextmanager
    def following(
        self, request: str, last: str | None = None, key: str | None = None
    ) -> Iterator[Iterator[ServerSentEvent]]:
        """Events of a request as they come."""
        headers = self.headers(last, key)
        with httpx.stream("GET", self.path(request), headers=headers, timeout=LONG_S) as response:
            assert response.status_code == 200
            yield (one for one in EventSource(response).iter_sse() if one.data)

    def begin(self, request: str) -> None:
        self.do("event", request, "1", "queued")
        self.do("event", request, "2", "started")


@contextmanager
def process() -> Iterator[Service]:
    command = [sys.executable, "-m", "tests.app.api.followed_service"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    pipe = subprocess.PIPE
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdin=pipe, stdout=pipe, stderr=pipe, text=True
    ) as running:
        try:
            yield Service(running)
        finally:
            running.kill()


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    with process() as running:
        yield running


def named(one: ServerSentEvent) -> tuple[str, str]:
    return one.event, one.id


def test_what_happens_is_told_as_it_happens(service: Service) -> None:
    service.begin("A")
    with service.following("A") as events:
        assert [named(next(events)) for _ in range(2)] == [("queued", "1.0"), ("started", "2.0")]
        service.do("progress", "A", "1")
        told = next(events)
        assert named(told) == ("progress", "2.1")
        assert json.loads(told.data)["best_eur"] == 999.0
        service.do("event", "A", "3", "finished")
        told = next(events)
        assert named(told) == ("finished", "3.1")
        assert json.loads(told.data) == {
            "number": 3,
            "at": "2027-03-01T06:00:03Z",
            "kind": "finished",
            "told": "",
        }
        assert next(events, None) is None


def test_who_comes_back_is_told_every_event_once_and_in_order(service: Service) -> None:
    service.begin("B")
    heard: list[ServerSentEvent] = []
    happens = ("retried", "started", "cancel-requested", "retried", "started", "cancelled")
    for number, kind in enumerate(happens, start=3):
        with service.following("B", heard[-1].id if heard else None) as events:
            service.do("progress", "B", str(number))
            service.do("event", "B", str(number), kind)
            heard.append(next(events))
    heard += (one for one in EventSource(service.get("B", heard[-1].id)).iter_sse() if one.data)
    told = [one.event for one in heard if one.event != "progress"]
    assert told == ["queued", "started", *happens]
    shown = [int(one.id.split(".")[1]) for one in heard if one.event == "progress"]
    assert shown == sorted(set(shown))
    assert shown[-1] == 8


def test_the_stream_of_a_request_that_is_over_ends_and_need_not_be_asked_again(service: Service) -> None:
    service.begin("C")
    service.do("event", "C", "3", "failed")
    whole = service.get("C")
    assert whole.headers["content-type"].startswith("text/event-stream")
    assert [one.event for one in EventSource(whole).iter_sse() if one.data] == ["queued", "started", "failed"]
    assert service.get("C", "3.0").status_code == 204
    service.do("event", "C", "4", "queued")
    with service.following("C", "3.0") as events:
        assert named(next(events)) == ("queued", "4.0")


def test_a_silent_stream_shows_that_it_is_there(service: Service) -> None:
    service.begin("D")
    with httpx.stream("GET", service.path("D"), headers=service.headers("2.0"), timeout=LONG_S) as response:
        assert response.headers["cache-control"] == "no-store"
        assert response.headers["x-accel-buffering"] == "no"
        assert "content-encoding" not in response.headers
        lines = response.iter_lines()
        assert [next(lines) for _ in range(4)] == ["retry: 2000", "", ": nothing new", ""]


def test_a_client_that_goes_away_leaves_nothing_behind(service: Service) -> None:
    service.until_counted(0, 0)
    service.begin("E")
    service.begin("F")
    with service.following("E") as one, service.following("E") as two, service.following("F") as third:
        for events in (one, two, third):
            next(events)
        service.until_counted(3, 2)
    service.until_counted(0, 0)


def test_a_client_that_breaks_off_leaves_nothing_behind(service: Service) -> None:
    service.begin("G")
    place = urlsplit(service.address)
    with socket.create_connection((place.hostname, place.port)) as connection:
        headers = "".join(f"{name}: {value}\r\n" for name, value in service.headers().items())
        asked = f"GET {urlsplit(service.path('G')).path} HTTP/1.1\r\nHost: here\r\n{headers}\r\n"
        connection.sendall(asked.encode())
        service.until_counted(1, 1)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")  # reset it
    service.until_counted(0, 0)


def test_who_reads_slowly_holds_nobody_up_and_is_told_the_newest_progress(service: Service) -> None:
    service.begin("H")
    with service.following("H") as slow, service.following("H") as quick:
        next(slow)
        for number in range(1, 40):
            service.do("progress", "H", str(number))
            while (told := next(quick)).event != "progress":
                pass
            assert told.id == f"2.{number}"
        service.do("event", "H", "3", "finished")
        assert [one.event for one in slow if one.event != "progress"] == ["started", "finished"]


def test_a_reader_that_takes_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.api.event_stream.TAKEN_WITHIN_S", 0.01)
    tales = Tales()
    tales.tell("A", Story((event(1, EventKind.QUEUED),)))
    streams = EventStreams(tales, MOST_STREAMS)
    sent: list[str] = []

    async def let_in() -> bool:
        return True

    async def receive() -> Message:
        return await asyncio.Future()

    async def send(message: Message) -> None:
        sent.append(message["type"])
        if message.get("body", b"").startswith(b"event:"):
            await asyncio.Future()

    async def read() -> None:
        async with streams.running(tales):
            stream = await streams.answer("Harbour Labels", "A", Place(), let_in)
            await stream({"type": "http"}, receive, send)
            assert streams.following is not None
            assert (streams.count, streams.following.requests) == (0, frozenset())

    asyncio.run(read())
    assert sent == ["http.response.start", "http.response.body", "http.response.body"]


def test_a_key_that_is_revoked_meanwhile_ends_the_stream(service: Service) -> None:
    service.begin("I")
    key = service.do("key", "lost")
    with service.following("I", key=key) as events:
        assert [named(next(events)) for _ in range(2)] == [("queued", "1.0"), ("started", "2.0")]
        service.do("revoke", key)
        service.do("event", "I", "3", "finished")
        assert next(events, None) is None
    with service.following("I", "2.0") as events:
        assert named(next(events)) == ("finished", "3.0")


def test_a_silent_stream_ends_with_its_key_too(service: Service) -> None:
    service.begin("J")
    key = service.do("key", "lost")
    with service.following("J", "2.0", key) as events:
        service.do("revoke", key)
        assert next(events, None) is None


def test_a_request_that_is_removed_is_told_no_more(service: Service) -> None:
    service.begin("K")
    with service.following("K", "2.0") as events:
        service.do("remove", "K")
        assert next(events, None) is None
    assert service.get("K").status_code == 404


@pytest.mark.parametrize("last", ["x", "3", "1.2.3", "-1.0"])
def test_an_id_that_was_never_told_is_refused(service: Service, last: str) -> None:
    service.begin("L")
    answer = service.get("L", last)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "header.Last-Event-ID"


def test_streams_are_counted_apart_from_what_is_answered(service: Service) -> None:
    service.begin("M")
    assert MOST_STREAMS > MOST_AT_ONCE
    service.until_counted(0, 0)
    with ExitStack() as stack:
        opened = [stack.enter_context(service.following("M")) for _ in range(MOST_STREAMS)]
        assert {next(events).event for events in opened} == {"queued"}
        refused = service.get("M")
        assert refused.status_code == 503
        assert "streams" in refused.json()["detail"]
        assert httpx.get(f"{service.address}/openapi.json", timeout=LONG_S).status_code == 200
    service.until_counted(0, 0)
    with service.following("M") as events:
        assert next(events).event == "queued"


def test_told_to_stop_the_service_ends_its_streams_and_writes_their_lines() -> None:
    """It would wait an hour for what it answers."""
    with process() as service:
        service.begin("A")
        with service.following("A") as one, service.following("A", "2.0") as silent:
            next(one)
            service.process.send_signal(signal.SIGTERM)
            assert [told.event for told in one] == ["started"]
            assert next(silent, None) is None
        assert service.process.wait(LONG_S) == 0
        assert service.told() == "ended"
        assert service.process.stderr is not None
        lines = [json.loads(line) for line in service.process.stderr if line.startswith("{")]
    answered: list[dict[str, Any]] = [line for line in lines if line["event"] == "answered"]
    route = "/api/v1/planning-requests/{id}/events"
    assert [(line["route"], line["status"]) for line in answered] == [(route, 200)] * 2
    assert [line for line in lines if line["level"] in ("warning", "error")] == []
