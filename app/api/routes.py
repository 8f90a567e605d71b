"""What the routes of an application declare, whatever router they came with."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute, RouteContext, iter_route_contexts
from starlette.routing import BaseRoute

from app.api.access import Access
from app.api.bodies import JsonBody

Declared = TypeVar("Declared")


@dataclass(frozen=True, slots=True)
class Declaration:
    """A route as its router declares it.

    Parameters
    ----------
    path
        Its template, with the prefixes of all routers: /api/v1/dies/{code}.
    methods
        GET, POST …
    endpoint
        The function that answers.
    calls
        Dependencies in the order in which they are looked at, nested ones right after those that need them.
    """

    path: str
    methods: frozenset[str]
    endpoint: Callable[..., Any]
    calls: tuple[Callable[..., Any], ...]
    context: RouteContext

    @property
    def access(self) -> Access | None:
        return _first(self.calls, Access)

    @property
    def body(self) -> JsonBody[Any] | None:
        return _first(self.calls, JsonBody)

    @property
    def reads_body_before_key(self) -> bool:
        """Whether strangers' bodies would be read."""
        kinds = [type(call) for call in self.calls if isinstance(call, Access | JsonBody)]
        return Access in kinds and kinds[0] is not Access

    def is_at(self, path: str) -> bool:
        """Whether an address is one of this route's."""
        return self.context.path_regex.fullmatch(path) is not None

    def __str__(self) -> str:
        return f"{' '.join(sorted(self.methods))} {self.path}"


def declarations(routes: Sequence[BaseRoute]) -> list[Declaration]:
    """All routes of an application.

    Raises
    ------
    TypeError
        If there is one of another kind: nobody could tell who may call it.
    """
    found = []
    for context in iter_route_contexts(routes):
        if not isinstance(context.original_route, APIRoute):
            raise TypeError(f"{context.path or context.original_route} is no route of a router")
        found.append(
            Declaration(
                path=context.path_format or "",
                methods=frozenset(context.methods or ()),
                endpoint=context.original_route.endpoint,
                calls=tuple(_calls(context.dependant)),
                context=context,
            )
        )
    return found


def _calls(dependant: Dependant) -> Iterator[Callable[..., Any]]:
    for needed in dependant.dependencies:
        if needed.call is not None:
            yield needed.call
        yield from _calls(needed)


def _first(calls: Sequence[object], kind: type[Declared]) -> Declared | None:
    return next((call for call in calls if isinstance(call, kind)), None)
