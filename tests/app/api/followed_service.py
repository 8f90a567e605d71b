"""A service with requests in memory that are followed, as a process of its own.

It prints its address, and obeys a line each on standard input: `key NAME` makes a key and prints it, `revoke
KEY` takes it back; `event ID NUMBER KIND` and `progress ID NUMBER` happen to a request; `remove ID`; `count`
prints how many streams are open and how many requests are followed. What prints nothing else prints “done”.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Mapping

import typer

from app.api.application import Parts, create_app
from app.api.event_stream import EventStreams
from app.api.request_events import event_routes
from app.api.serving import address, listen, serve_one
from app.contracts.planning_requests import EventKind, RequestStatus
from app.security import Doorkeeper, Role, read_key
from app.services.request_stories import Place, Story
from app.settings import read_settings
from app.telemetry import set_up_logs
from tests.app.api.conftest import Needs
from tests.app.api.key_shelf import KeyShelf
from tests.app.request_tales import event, progress

STOP_WITHIN = "1 h"
MOST_AT_ONCE, MOST_STREAMS = 3, 6
COMMENT_S = 0.2


class Tales:
    """Requests in memory, whose listeners are told at once."""

    def __init__(self) -> None:
        self._stories: dict[str, Story] = {}
        self._callbacks: list[Callable[[str | None], None]] = []

    def subscribe(self, callback: Callable[[str | None], None]) -> Callable[[], None]:
        self._callbacks.append(callback)
        return lambda: self._callbacks.remove(callback)

    def __call__(self, plant: str, known: Mapping[str, Place]) -> Mapping[str, Story | None]:
        return {request: self._stories.get(request) for request in known}

    def tell(self, request: str, news: Story) -> None:
        self._stories[request] = self._stories.get(request, Story()).with_news(news)
        self._ring(request)

    def remove(self, request: str) -> None:
        del self._stories[request]
        self._ring(request)

    def _ring(self, request: str) -> None:
        for callback in self._callbacks:
            callback(f"request:{request}")


class Obeying:
    """Does what standard input says."""

    def __init__(self) -> None:
        self.keys, self.tales = KeyShelf(), Tales()
        self.streams = EventStreams(self.tales, MOST_STREAMS, COMMENT_S)

    def obey(self) -> None:
        for line in sys.stdin:
            typer.echo(self._done(*line.split()))

    def _done(self, what: str, *said: str) -> str:
        match what, *said:
            case "key", name:
                return str(self.keys.issue(Role.INTEGRATION, name))
            case "revoke", key:
                self.keys.revoke(read_key(key))
            case "event", request, number, kind:
                is_over = kind in list(RequestStatus) and RequestStatus(kind).is_over
                news = Story((event(int(number), EventKind(kind)),), is_over=is_over)
                self.tales.tell(request, news)
            case "progress", request, number:
                self.tales.tell(request, Story((), progress(int(number))))
            case "remove", request:
                self.tales.remove(request)
            case ("count",):
                following = self.streams.following
                return f"{self.streams.count} {len(following.requests) if following else 0}"
        return "done"


def main() -> None:
    settings = read_settings({}, port=0, stop_within=STOP_WITHIN, most_at_once=MOST_AT_ONCE)
    set_up_logs(settings.log_level)
    obeying = Obeying()
    parts = Parts(
        Doorkeeper(obeying.keys, remembered_s=0.0),
        Needs(),
        beside=(lambda: obeying.streams.running(obeying.tales),),
    )
    threading.Thread(target=obeying.obey, daemon=True).start()
    with listen(settings) as listener:
        serve_one(
            create_app(settings, parts, [event_routes(obeying.streams)]),
            settings,
            listener,
            lambda: typer.echo(address(listener)),
        )
    typer.echo("ended")


if __name__ == "__main__":
    main()
