"""The application: routers in, an ASGI application out, nothing open that does not say who may call it.

`app/api/things.py` has the routes of a resource as the others are written: who may call it comes first, then
what the address and the headers say, the body last.

Errors are raised, never answered by hand: `app/api/problems.py` knows which is what. Answers to problems that
follow from such a declaration stand in OpenAPI by themselves; others by `responses=problems(CONFLICT)`.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Iterable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, AsyncExitStack, asynccontextmanager, suppress
from dataclasses import dataclass, field

from fastapi import APIRouter, FastAPI
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app import __version__
from app.api.access import Gate
from app.api.bodies import JSON
from app.api.describing import NOTHING, describe
from app.api.health import ALIVE, READY, Readiness, health_routes
from app.api.limits import RateLimit
from app.api.packing import Packed
from app.api.problems import answer_problem
from app.api.route_index import RouteIndex
from app.api.routes import Declaration, declarations
from app.api.watching import Watched
from app.errors import RunwrightError
from app.security import Doorkeeper
from app.settings import Settings
from app.telemetry import RequestFigures, RequestLines, log

OPENAPI = "/openapi.json"

OPEN_PATHS = frozenset({ALIVE, READY, OPENAPI})
"""What anyone may read without a key."""


@dataclass(frozen=True, slots=True)
class Parts:
    """The real parts behind an application; tests put others.

    Parameters
    ----------
    doorkeeper
        Tells the holders of keys.
    readiness
        Tells whether all that is needed is there.
    figures
        Where requests are counted.
    lines
        Where a line a request is written, if settings want one; standard error if None.
    tidy
        Called when the application starts and every hour: forgets what nobody needs any more.
    beside
        What runs beside the answering: entered in order before the first request and left, the last first,
        behind the last one.
    stop
        Called once when the application ends: closes the database.
    """

    doorkeeper: Doorkeeper
    readiness: Readiness
    figures: RequestFigures = field(default_factory=RequestFigures)
    lines: RequestLines | None = None
    tidy: Callable[[], None] = lambda: None
    beside: Sequence[Callable[[], AbstractAsyncContextManager[None]]] = ()
    stop: Callable[[], None] = lambda: None


def create_app(
    settings: Settings,
    parts: Parts,
    routers: Iterable[APIRouter],
    tags: Sequence[Mapping[str, str]] = (),
    messages: Mapping[str, type[BaseModel]] = NOTHING,
) -> FastAPI:
    """An application of some routers.

    Parameters
    ----------
    tags
        Names and descriptions of the groups of routes in OpenAPI.
    messages
        What the application posts itself, by type.

    Raises
    ------
    OpenRouteError
        If a route does not declare who may call it, or reads a body before it looks at the key.
    """
    app = FastAPI(
        title="Runwright",
        version=__version__,
        summary="Orders and costs the queue of hybrid label press lines.",
        description=_DESCRIPTION,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        lifespan=_running(parts),
        telemetry={"tracing": False, "metrics": False, "logs": False, "auto_configure": False},
    )
    app.state.gate = Gate(
        parts.doorkeeper,
        by_key=RateLimit(settings.requests_per_minute_by_key or None),
        wrong_keys=RateLimit(settings.wrong_keys_per_minute or None),
    )
    app.state.most_body_bytes = settings.most_body_bytes
    described: list[Declaration] = []
    all_routers = (
        health_routes(parts.readiness, parts.figures),
        _description_routes(app, described, tags, messages),
        *routers,
    )
    declared = declarations(all_routers)
    described += declared
    _refuse_open_routes(declared)
    _add_handlers(app)
    routes = [one.route for one in declared]
    app.router.routes[:] = routes
    app.router.middleware_stack = RouteIndex(routes, otherwise=app.router.app)
    lines = parts.lines or RequestLines(as_json=settings.is_json)
    app.add_middleware(Packed)
    app.add_middleware(
        Watched,
        by_address=RateLimit(settings.requests_per_minute_by_address or None),
        most_at_once=settings.most_at_once,
        figures=parts.figures,
        lines=lines if settings.log_requests else None,
        quiet=frozenset({ALIVE, READY}),
    )
    return app


class OpenRouteError(TypeError):
    """A route that would let in who should stay out: a mistake in a router."""


def _refuse_open_routes(routes: Iterable[Declaration]) -> None:
    for route in routes:
        if route.access is None and route.path not in OPEN_PATHS:
            raise OpenRouteError(f"{route} does not say who may call it: give it access(Role…)")
        if route.reads_body_before_key:
            raise OpenRouteError(f"{route} reads a body before the key: put access(Role…) first")


TIDIED_EVERY_S = 3600.0


def _running(parts: Parts) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        await _tidy(parts.tidy)
        tidying = asyncio.create_task(_tidy_every_hour(parts.tidy))
        try:
            async with AsyncExitStack() as stack:
                for part in parts.beside:
                    await stack.enter_async_context(part())
                yield
        finally:
            tidying.cancel()
            with suppress(asyncio.CancelledError):
                await tidying
            await run_in_threadpool(parts.stop)

    return lifespan


async def _tidy_every_hour(tidy: Callable[[], None]) -> None:
    while True:
        await asyncio.sleep(TIDIED_EVERY_S)
        await _tidy(tidy)


async def _tidy(tidy: Callable[[], None]) -> None:
    """What goes wrong is told, and tried again the next time."""
    try:
        await run_in_threadpool(tidy)
    except Exception:
        log().error("not tidied", exc_info=True)


def _description_routes(
    app: FastAPI,
    declared: Sequence[Declaration],
    tags: Sequence[Mapping[str, str]],
    messages: Mapping[str, type[BaseModel]],
) -> APIRouter:
    """The route of the OpenAPI document, which is written when it is first asked for."""
    router = APIRouter()
    written: list[bytes] = []

    def document() -> dict[str, object]:
        if app.openapi_schema is None:
            app.openapi_schema = describe(app, declared, tags, messages)
        return app.openapi_schema

    @router.get(OPENAPI, include_in_schema=False)
    def openapi() -> Response:
        if not written:
            written.append(json.dumps(document(), ensure_ascii=False, separators=(",", ":")).encode())
        return Response(written[0], media_type=JSON)

    app.openapi = document  # type: ignore[method-assign]
    return router


def _add_handlers(app: FastAPI) -> None:
    for error in (RunwrightError, RequestValidationError, HTTPException):
        app.add_exception_handler(error, answer_problem)


_DESCRIPTION = """\
Jobs, stock and tooling of a label plant in; costed sequences of its lines out.

- Send a key with every request: `Authorization: Bearer rw_…`. It belongs to one plant and has a role.
- Lengths are in m or mm, times in min, money in €, as each field's name says. Numbers are JSON numbers, never
  quoted. Moments have an offset: `2027-03-01T06:00+01:00`.
- Bodies are JSON in UTF-8, gzipped if you like (`Content-Encoding: gzip`).
- Every error is `application/problem+json` (RFC 9457) with all faults of a body at once, each with its place
  and what would be right.
- What people edit has an `ETag`: send it back in `If-Match`.
- A POST with an `Idempotency-Key` may be sent twice and is done once.
- An order of jobs is asked for as a planning request and followed as server-sent events; what comes of it are
  sequences.
- Every answer has an `X-Request-Id`; yours is kept if you send one.
"""
