"""Planning requests followed live: server-sent events, of which nobody misses one or is told one twice.

A stream waits for its bell and then tells what its reader does not know yet, so a slow reader holds no
connection to the database and nobody else up: it is told the newest progress when it is able to hear it.
Every event has an id, and who sends it back as `Last-Event-ID` goes on behind it.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field

from fastapi.sse import EventSourceResponse, format_sse_event
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.types import Message, Receive, Scope, Send

from app.api.stopping import told_to_stop
from app.contracts.planning_requests import RequestEvent
from app.errors import NotStored, Unavailable
from app.services.following import Bells, Followed, Following, StoryBook
from app.services.request_stories import Place, Story, Told

EVENT_STREAM = "text/event-stream"
PROGRESS = "progress"
"""What an event is called that tells how far the search is; others are called by their kind."""

COMMENT_S = 15.0
"""A stream that has nothing to tell says so this often: proxies keep it open, and its key is looked at."""

TAKEN_WITHIN_S = 60.0
"""A reader that takes nothing for so long is given up; it may come back and go on."""

AGAIN_MS = 2000
"""How long a reader is to wait before it comes back."""

StillLetIn = Callable[[], Awaitable[bool]]
"""Whether a reader may still know what happens."""


class EventStreams:
    """All streams of a process.

    Parameters
    ----------
    book
        Where requests are read.
    most
        Streams at once.
    comment_s
        How often a silent stream shows that it is there.
    """

    def __init__(self, book: StoryBook, most: int, comment_s: float = COMMENT_S) -> None:
        self.comment_s = comment_s
        self.count = 0
        self.following: Following | None = None
        """What reads for the streams; None while the application does not run."""
        self._book = book
        self._most = most

    @asynccontextmanager
    async def running(self, bells: Bells) -> AsyncIterator[None]:
        """For as long as the application runs. Told to stop, all streams end at once: the server waits for
        them.

        Parameters
        ----------
        bells
            What tells when something has changed in the store.
        """
        following = self.following = Following(self._book, bells)
        following.start()
        try:
            with told_to_stop(self.stop):
                yield
        finally:
            self.stop()
            await run_in_threadpool(following.close)

    def stop(self) -> None:
        """End every stream, and let none begin any more."""
        following, self.following = self.following, None
        if following is not None:
            following.ring_all()

    async def answer(self, plant: str, request: str, place: Place, still_let_in: StillLetIn) -> Response:
        """A stream of what happens to a request behind a place; 204 where nothing ever will.

        Parameters
        ----------
        still_let_in
            Asked before anything is told, and whenever the stream was silent for a while.

        Raises
        ------
        NotStored
            Where there is no such request.
        Unavailable
            Where there are too many streams, or the service stops.
        """
        if self.count >= self._most:
            raise Unavailable("More streams at once than can be told; ask again in a while.")
        found = await run_in_threadpool(self._book, plant, {request: Place()})
        story = found.get(request)
        if story is None:
            raise NotStored("planning-requests", request)
        if story.is_told(place):
            return Response(status_code=204)
        if self.following is None:
            raise Unavailable("The service stops; ask again.")
        return EventStream(self, self.following, _Reader(plant, request, story, place, still_let_in))


@dataclass(slots=True)
class _Reader:
    """Who reads a stream: from which story on, and up to where it was told."""

    plant: str
    request: str
    story: Story
    place: Place
    still_let_in: StillLetIn
    bell: asyncio.Event = field(default_factory=asyncio.Event)
    loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.get_running_loop)

    def ring(self) -> None:
        """Say that there may be more to tell; called by any thread."""
        with suppress(RuntimeError):  # the loop is closed: nobody listens any more
            self.loop.call_soon_threadsafe(self.bell.set)

    async def is_rung(self, within_s: float) -> bool:
        """Wait until there may be more to tell."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                await self.bell.wait()
        return self.bell.is_set()


class EventStream(EventSourceResponse):
    """The answer of a stream."""

    def __init__(self, streams: EventStreams, following: Following, reader: _Reader) -> None:
        self._streams = streams
        self._following = following
        self._reader = reader
        self._followed: Followed | None = None
        headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        super().__init__(self._chunks(), headers=headers)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Count the stream, and follow its request, for exactly as long as it is open."""
        reader = self._reader
        self._streams.count += 1
        try:
            with self._following.follow(reader.plant, reader.request, reader.story, reader.ring) as followed:
                self._followed = followed
                await super().__call__(scope, receive, send)
        finally:
            self._streams.count -= 1

    async def stream_response(self, send: Send) -> None:
        """Send the chunks. Where one is not taken, the answer stays without an end, and the server breaks the
        connection.
        """

        async def soon(message: Message) -> None:
            async with asyncio.timeout(TAKEN_WITHIN_S):
                await send(message)

        with suppress(TimeoutError):
            await super().stream_response(soon)

    async def _chunks(self) -> AsyncIterator[bytes]:
        """What is sent. The first chunk holds no event, but sends the headers on their way."""
        streams, reader, followed = self._streams, self._reader, self._followed
        if followed is None:
            raise RuntimeError("a stream is read while its request is followed")
        yield format_sse_event(retry=AGAIN_MS)
        while streams.following is self._following and not followed.is_gone and await reader.still_let_in():
            reader.bell.clear()
            for told in followed.story.behind(reader.place):
                reader.place = told.place
                yield _chunk(told)
            if followed.story.is_told(reader.place):
                return
            if not await reader.is_rung(streams.comment_s):
                yield format_sse_event(comment="nothing new")


def _chunk(told: Told) -> bytes:
    name = told.what.kind.value if isinstance(told.what, RequestEvent) else PROGRESS
    return format_sse_event(data_str=told.what.model_dump_json(by_alias=True), event=name, id=str(told.place))
