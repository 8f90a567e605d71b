"""Around every request: its id, security headers, a line of the log, figures, and what nobody foresaw."""

from __future__ import annotations

from time import perf_counter

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.api.limits import RateLimit
from app.api.problems import Refusal, problem_answer, told
from app.api.visits import Visit, begin_visit
from app.errors import Unavailable
from app.telemetry import RequestFigures, RequestLines, log

NO_ROUTE = "(none)"
"""The template of addresses that lead nowhere."""

GONE_BEFORE_ANSWER = 499
"""Status in logs and figures of a request whose sender left; nobody was sent it."""

_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
"""On every answer that does not say otherwise: the API has nothing to show, so nothing may be shown."""

_EVENTS = b"text/event-stream"
_NOT_STORED = (b"cache-control", b"no-store")
_CHECKED_EACH_TIME = (b"cache-control", b"private, no-cache")
"""An answer with an ETag may be kept by who asked, and is checked before each use."""


class Watched:
    """Outermost middleware, in plain ASGI.

    Parameters
    ----------
    app
        What answers.
    by_address
        Requests that an address may make.
    most_at_once
        Requests being answered at most, but for streams of events, which cost next to nothing while they
        wait; whoever comes beyond is asked to come again.
    figures
        Where requests are counted.
    lines
        Where a line a request is written; None: nowhere.
    quiet
        Paths that are asked every few seconds: neither limited nor logged unless they go wrong.
    """

    def __init__(
        self,
        app: ASGIApp,
        by_address: RateLimit,
        most_at_once: int,
        figures: RequestFigures,
        lines: RequestLines | None,
        quiet: frozenset[str],
    ) -> None:
        self._app = app
        self._by_address = by_address
        self._most_at_once = most_at_once
        self._figures = figures
        self._lines = lines
        self._quiet = quiet
        self._log = log("runwright.requests")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        visit = begin_visit(scope, _sent_id(scope))
        answer = _Answer(visit, send, self._figures)
        begun = perf_counter()
        self._figures.begin()
        try:
            await self._answer(scope, receive, answer)
        finally:
            answer.end()
            self._note(scope, visit, answer.status or GONE_BEFORE_ANSWER, perf_counter() - begun)

    async def _answer(self, scope: Scope, receive: Receive, answer: _Answer) -> None:
        try:
            if scope["path"] not in self._quiet:
                self._by_address.require(_address(scope))
                self._require_room()
            await self._app(scope, receive, answer.send)
        except Exception as error:
            if not isinstance(error, Refusal | Unavailable):
                self._log.error(
                    "failed",
                    request_id=answer.visit.request_id,
                    method=scope["method"],
                    path=scope["path"],
                    exc_info=True,
                )
            if answer.status:
                raise  # half an answer is out: the server breaks the connection, so that it is seen as broken
            response = problem_answer(answer.visit.request_id, told(error))
            await response(scope, receive, answer.send)

    def _require_room(self) -> None:
        if self._figures.in_flight - self._figures.streams > self._most_at_once:
            raise Unavailable("More requests at once than can be answered; ask again in a second.", again_s=1)

    def _note(self, scope: Scope, visit: Visit, status: int, seconds: float) -> None:
        route = scope.get("route")
        template = NO_ROUTE if route is None else route.path_format
        self._figures.end(template, scope["method"], status, seconds)
        if self._lines is None or (scope["path"] in self._quiet and status < 400):
            return
        holder = visit.holder
        self._lines.write(
            request_id=visit.request_id,
            method=scope["method"],
            route=template,
            status=status,
            ms=seconds * 1000,
            holder=None if holder is None else holder.name,
            plant=None if holder is None else holder.plant,
        )


class _Answer:
    """Adds headers to an answer on its way out, knows its status and whether it is a stream of events."""

    def __init__(self, visit: Visit, send: Send, figures: RequestFigures) -> None:
        self.visit = visit
        self.status = 0
        self._send = send
        self._figures = figures
        self._streams = 0

    def end(self) -> None:
        """Nothing of it follows."""
        self._figures.streams -= self._streams

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            headers = list(message["headers"])
            there = {name.lower(): value for name, value in headers}
            if there.get(b"content-type", b"").startswith(_EVENTS):
                self._streams = 1
                self._figures.streams += 1
            headers += (header for header in _HEADERS if header[0] not in there)
            if b"cache-control" not in there:
                headers.append(_CHECKED_EACH_TIME if b"etag" in there else _NOT_STORED)
            headers.append((b"x-request-id", self.visit.request_id.encode()))
            message["headers"] = headers
        await self._send(message)


def _sent_id(scope: Scope) -> str | None:
    for name, value in scope["headers"]:
        if name == b"x-request-id":
            text: str = value.decode("latin-1")
            return text
    return None


def _address(scope: Scope) -> str:
    client = scope.get("client")
    return client[0] if client else ""
