"""Finds a request's route by the beginning of its path, instead of trying every route there is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import takewhile

from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException
from starlette.routing import Match
from starlette.types import ASGIApp, Receive, Scope, Send

MOST_PARTS = 4
"""Of a path that are looked at: /api/v1/dies/bulk."""


class RouteIndex:
    """The innermost part of an application.

    Parameters
    ----------
    routes
        All routes. Of the templates that match, one whose fixed beginning has more parts counts, then the
        first; of that beginning it decides, whatever its methods: a job's status is not a job called so.
    otherwise
        What takes everything but requests: start and end of the application.
    """

    def __init__(self, routes: Sequence[APIRoute], otherwise: ASGIApp) -> None:
        self._otherwise = otherwise
        begun: defaultdict[str, list[APIRoute]] = defaultdict(list)
        for route in routes:
            begun[_fixed_beginning(route.path_format)].append(route)
        self._begun = dict(begun)
        methods: defaultdict[str, set[str]] = defaultdict(set)
        for route in routes:
            methods[route.path_format] |= route.methods or set()
        self._allowed = {template: ", ".join(sorted(known)) for template, known in methods.items()}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._otherwise(scope, receive, send)
            return
        other_method: tuple[APIRoute, Scope] | None = None
        for routes in self._candidates(scope["path"]):
            template: str | None = None
            for route in routes:
                if template not in (None, route.path_format):
                    continue
                match, child_scope = route.matches(scope)
                if match is Match.NONE:
                    continue
                if match is Match.FULL:
                    scope.update(child_scope)
                    await route.handle(scope, receive, send)
                    return
                template = route.path_format
                other_method = other_method or (route, child_scope)
        if other_method is None:
            raise HTTPException(404)
        route, child_scope = other_method
        scope.update(child_scope)
        raise HTTPException(405, headers={"Allow": self._allowed[route.path_format]})

    def _candidates(self, path: str) -> Iterator[Sequence[APIRoute]]:
        parts = path.split("/", MOST_PARTS + 1)[: MOST_PARTS + 1]
        while parts:
            yield self._begun.get("/".join(parts), ())
            parts.pop()


def _fixed_beginning(path_format: str) -> str:
    parts = path_format.split("/")[: MOST_PARTS + 1]
    return "/".join(takewhile(lambda part: "{" not in part, parts))
