"""Finds a request's route by the beginning of its path, instead of trying every route there is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import takewhile

from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException
from starlette.routing import Match
from starlette.types import ASGIApp, Receive, Scope, Send

MOST_PARTS = 3
"""Of a path that are looked at: /api/v1/dies."""


class RouteIndex:
    """The innermost part of an application.

    Parameters
    ----------
    routes
        All routes. Of those that match, one whose fixed beginning has more parts counts, then the first.
    otherwise
        What takes everything but requests: start and end of the application.
    """

    def __init__(self, routes: Sequence[APIRoute], otherwise: ASGIApp) -> None:
        self._otherwise = otherwise
        begun: defaultdict[str, list[APIRoute]] = defaultdict(list)
        for route in routes:
            begun[_fixed_beginning(route.path_format)].append(route)
        self._begun = dict(begun)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._otherwise(scope, receive, send)
            return
        other_method: tuple[APIRoute, Scope] | None = None
        for route in self._candidates(scope["path"]):
            match, child_scope = route.matches(scope)
            if match is Match.FULL:
                scope.update(child_scope)
                await route.handle(scope, receive, send)
                return
            if match is Match.PARTIAL and other_method is None:
                other_method = (route, child_scope)
        if other_method is None:
            raise HTTPException(404)
        route, child_scope = other_method
        scope.update(child_scope)
        await route.handle(scope, receive, send)

    def _candidates(self, path: str) -> Iterator[APIRoute]:
        parts = path.split("/", MOST_PARTS + 1)[: MOST_PARTS + 1]
        while parts:
            yield from self._begun.get("/".join(parts), ())
            parts.pop()


def _fixed_beginning(path_format: str) -> str:
    parts = path_format.split("/")[: MOST_PARTS + 1]
    return "/".join(takewhile(lambda part: "{" not in part, parts))
