"""What the routes of an application declare."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from fastapi import APIRouter
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from app.api.access import Access
from app.api.bodies import JsonBody, ReadsBody

Declared = TypeVar("Declared")


@dataclass(frozen=True, slots=True)
class Declaration:
    """A route as its router declares it.

    Parameters
    ----------
    calls
        Dependencies in the order in which they are looked at, nested ones right after those that need them.
    """

    route: APIRoute
    calls: tuple[Callable[..., Any], ...]

    @property
    def path(self) -> str:
        """Its template: /api/v1/dies/{code}."""
        return self.route.path_format

    @property
    def methods(self) -> frozenset[str]:
        return frozenset(self.route.methods or ())

    @property
    def access(self) -> Access | None:
        return _first(self.calls, Access)

    @property
    def body(self) -> JsonBody[Any] | None:
        return _first(self.calls, JsonBody)

    @property
    def takes_body(self) -> bool:
        """Whether it reads a body of any kind."""
        return _first(self.calls, ReadsBody) is not None

    @property
    def reads_body_before_key(self) -> bool:
        """Whether strangers' bodies would be read."""
        first = _first(self.calls, (Access, ReadsBody))
        return isinstance(first, ReadsBody)

    def __str__(self) -> str:
        return f"{' '.join(sorted(self.methods))} {self.path}"


def declarations(routers: Iterable[APIRouter]) -> list[Declaration]:
    """All routes of some routers.

    Raises
    ------
    TypeError
        If one is of another kind or a router inside a router: nobody could tell who may call it.
    """
    found = []
    for router in routers:
        for route in router.routes:
            if not isinstance(route, APIRoute):
                raise TypeError(f"{route} is no route that can say who may call it")
            found.append(Declaration(route, tuple(_calls(route.dependant))))
    return found


def _calls(dependant: Dependant) -> Iterator[Callable[..., Any]]:
    for needed in dependant.dependencies:
        if needed.call is not None:
            yield needed.call
        yield from _calls(needed)


def _first(calls: Sequence[object], kind: type[Declared] | tuple[type[Declared], ...]) -> Declared | None:
    return next((call for call in calls if isinstance(call, kind)), None)
