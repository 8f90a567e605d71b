"""Follows a planning request: every event once and in order, however often the connection breaks."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from typing import Final

import httpx
from httpx_sse import ServerSentEvent

from app.client.server import Server
from app.contracts.planning_requests import EventKind, RequestProgress, RequestStatus
from app.errors import RunwrightError, Unavailable

HEARD_WITHIN_S: Final = 0.2
"""How often one looks up from waiting."""

AGAIN_S: Final = 1.0
"""Between the end of a stream and the next one."""

PROGRESS: Final = "progress"
OVER: Final = frozenset(status.value for status in RequestStatus if status.is_over)

Heard = RequestProgress | EventKind


class Following:
    """A request that is followed by a thread, so that whoever waits can look up now and then.

    Parameters
    ----------
    path
        Of its events, below the API's.
    """

    def __init__(self, server: Server, path: str) -> None:
        self._server = server
        self._path = path
        self._last: str | None = None
        self._heard: queue.SimpleQueue[Heard | RunwrightError | _End] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._listen, name="follows", daemon=True)

    def __iter__(self) -> Iterator[Heard | None]:
        """What is told until the request is over, with a None after each moment in which nothing was.

        Raises
        ------
        RunwrightError
            Whatever the service refuses; `Unavailable` where it does not answer any more.
        """
        self._thread.start()
        while True:
            try:
                heard = self._heard.get(timeout=HEARD_WITHIN_S)
            except queue.Empty:
                yield None
                continue
            if isinstance(heard, _End):
                return
            if isinstance(heard, RunwrightError):
                raise heard
            yield heard

    def _listen(self) -> None:
        try:
            while not self._is_told():
                self._server.pause(AGAIN_S)
            self._heard.put(_End())
        except RunwrightError as error:
            self._heard.put(error)

    def _is_told(self) -> bool:
        """Listen until the stream ends or breaks off; whether all has been told then.

        Raises
        ------
        RunwrightError
            Whatever the service refuses; `Unavailable` where no stream began in all the time it was tried.
        """
        why: object = "it tells nothing"
        for _ in self._server.tries():
            try:
                with self._server.stream(self._path, self._last) as events:
                    if events is None:
                        return True
                    return self._is_told_by(events)
            except (httpx.TransportError, Unavailable) as error:
                why = error or type(error).__name__
        raise self._server.gone(why)

    def _is_told_by(self, events: Iterator[ServerSentEvent]) -> bool:
        """Listen to a stream that has begun; whether the last event came."""
        try:
            for event in events:
                heard = _read(event.event, event.data)
                if heard is not None:
                    self._heard.put(heard)
                self._last = event.id
                if event.event in OVER:
                    return True
        except httpx.TransportError:
            return False
        return False


class _End:
    """Nothing follows."""


def _read(name: str, data: str) -> Heard | None:
    """An event; None for one that this version does not know."""
    try:
        return RequestProgress.model_validate_json(data) if name == PROGRESS else EventKind(name)
    except ValueError:
        return None
