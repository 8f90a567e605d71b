"""A request is followed to its end, however often the connection breaks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import httpx
import pytest
from fastapi.sse import format_sse_event

from app.client.following import Following
from app.client.server import Server, address
from app.contracts.planning_requests import EventKind, RequestProgress
from app.errors import Conflict, Unavailable
from app.services.request_stories import Place, Story
from tests.app.client.test_server import KEY
from tests.app.request_tales import event, progress

WHOLE = Story(
    tuple(
        event(number, kind)
        for number, kind in enumerate(
            (EventKind.QUEUED, EventKind.STARTED, EventKind.RETRIED, EventKind.STARTED, EventKind.FINISHED), 1
        )
    ),
    progress(9),
    is_over=True,
)


class Breaking(httpx.SyncByteStream):
    """A stream that breaks off behind some chunks; with fewer chunks than that it ends."""

    def __init__(self, chunks: list[bytes], breaks_after: int) -> None:
        self._chunks, self._breaks_after = chunks, breaks_after

    def __iter__(self) -> Iterator[bytes]:
        for number, chunk in enumerate(self._chunks):
            if number == self._breaks_after:
                raise httpx.ReadError("broken off")
            yield chunk


@dataclass
class Telling:
    """Tells a story to who asks, and breaks off each time behind so many chunks; where that is None it does
    not answer at all.
    """

    breaks: list[int | None]
    asked: list[str | None] = field(default_factory=list)
    paused: list[float] = field(default_factory=list)

    def __call__(self, request: httpx.Request) -> httpx.Response:
        last = request.headers.get("last-event-id")
        self.asked.append(last)
        place = Place() if last is None else Place.read(last)
        breaks_after = self.breaks.pop(0) if self.breaks else 100
        if breaks_after is None:
            raise httpx.ConnectError("refused")
        if WHOLE.is_told(place):
            return httpx.Response(204)
        chunks = [format_sse_event(retry=2000)]
        for told in WHOLE.behind(place):
            name = "progress" if isinstance(told.what, RequestProgress) else told.what.kind.value
            data = told.what.model_dump_json()
            chunks += [
                format_sse_event(comment="nothing new"),
                format_sse_event(data_str=data, event=name, id=str(told.place)),
            ]
        headers = {"Content-Type": "text/event-stream"}
        return httpx.Response(200, headers=headers, stream=Breaking(chunks, breaks_after))

    def following(self) -> Following:
        url = address("http://press.example")
        server = Server(url, KEY, lambda words: None, httpx.MockTransport(self), self.paused.append)
        return Following(server, "planning-requests/A/events")


@pytest.mark.parametrize(
    "breaks", [[], [3], [0, 1, 2], [5, None, None, 3, 3], [3, 3, 3, 3, 3, 3], [None, 9], [11]]
)
def test_every_event_is_told_once_and_in_order(breaks: list[int | None]) -> None:
    telling = Telling(list(breaks))
    heard = [one for one in telling.following() if one is not None]
    assert [one for one in heard if isinstance(one, EventKind)] == [one.kind for one in WHOLE.events]
    assert [one.number for one in heard if isinstance(one, RequestProgress)] == [9]
    assert telling.asked[0] is None
    assert telling.breaks == []


def test_one_of_which_all_is_told_already_ends() -> None:
    telling = Telling([])
    following = telling.following()
    following._last = "5.9"  # noqa: SLF001
    assert [one for one in following if one is not None] == []


def test_events_of_later_versions_are_passed_over() -> None:
    def later(request: httpx.Request) -> httpx.Response:
        told = (
            format_sse_event(data_str="{}", event="brewed", id="1.0"),
            format_sse_event(data_str="{}", event="progress", id="1.1"),
            format_sse_event(data_str="{}", event="cancelled", id="2.1"),
        )
        return httpx.Response(200, headers={"Content-Type": "text/event-stream"}, content=b"".join(told))

    server = Server(address("http://press.example"), KEY, print, httpx.MockTransport(later))
    assert [one for one in Following(server, "x") if one is not None] == [EventKind.CANCELLED]


def test_what_the_service_refuses_is_told_to_who_waits() -> None:
    problem = {"type": "/problems/not-found", "title": "There is nothing here", "detail": "It was removed."}
    answer = httpx.Response(404, headers={"Content-Type": "application/problem+json"}, json=problem)
    server = Server(address("http://press.example"), KEY, print, httpx.MockTransport(lambda _: answer))
    with pytest.raises(Conflict, match=r"It was removed\."):
        list(Following(server, "x"))


def test_one_that_does_not_come_back_is_given_up() -> None:
    telling = Telling([3, *[None] * 1000])
    with pytest.raises(Unavailable, match="does not answer: refused"):
        list(telling.following())
