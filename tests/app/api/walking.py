"""Walks every route of an application with every kind of key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fastapi import FastAPI
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from app.api.application import OPEN_PATHS
from app.api.routes import Declaration, declarations
from app.security import KeyText, Role
from tests.app.api.key_shelf import LINE

FORBIDDEN, NO_KEY = 403, 401
JSON_METHODS = ("POST", "PUT", "PATCH")


@dataclass(frozen=True)
class Step:
    """One route with one method."""

    method: str
    path: str
    declared: Declaration

    def status(self, client: TestClient, key: KeyText | str | None) -> int:
        """What it answers to a key. An empty body: who is let in is told what is wrong with it."""
        headers = {} if key is None else {"Authorization": f"Bearer {key}"}
        content = "{}" if self.method in JSON_METHODS else None
        if content:
            headers["Content-Type"] = "application/json"
        return client.request(self.method, self.path, headers=headers, content=content).status_code

    @property
    def is_open(self) -> bool:
        return self.declared.path in OPEN_PATHS

    def lets_in(self, role: Role) -> bool:
        return self.declared.access is not None and role in self.declared.access.allowed

    def __str__(self) -> str:
        return f"{self.method} {self.declared.path}"


def steps(app: FastAPI, line: str = LINE) -> list[Step]:
    """Every route of an application, each with every method; where a press line is asked for, this one."""
    return list(_steps(app, line))


def _steps(app: FastAPI, line: str) -> Iterator[Step]:
    routes = [route for route in app.router.routes if isinstance(route, APIRoute)]
    if len(routes) != len(app.router.routes):
        raise AssertionError("a route of a kind that is not walked")
    for declared in declarations([app.router]):
        values = {name: "1" for name in declared.route.param_convertors} | {"line": line}
        wanted = {name: values[name] for name in declared.route.param_convertors}
        path = declared.route.url_path_for(declared.route.name, **wanted)
        for method in sorted(declared.methods):
            yield Step(method, str(path), declared)


def walk_with_every_role(app: FastAPI, keys: Mapping[Role, KeyText | str], line: str = LINE) -> None:
    """Fail where a route lets in another role than those it declares, or keeps one of them out."""
    client = TestClient(app, raise_server_exceptions=False, follow_redirects=False)
    for step in steps(app, line):
        for role, key in keys.items():
            if step.is_open:
                continue
            status = step.status(client, key)
            if status == NO_KEY or (status == FORBIDDEN) == step.lets_in(role):
                raise AssertionError(f"{step} answers {status} to {role.value}")


def walk_with_useless_keys(app: FastAPI, keys: Mapping[str, KeyText | str | None]) -> None:
    """Fail where a route that is not open answers to a key that opens nothing, or to none."""
    client = TestClient(app, raise_server_exceptions=False, follow_redirects=False)
    for step in steps(app):
        for kind, key in keys.items():
            status = step.status(client, key)
            if status != NO_KEY and not (step.is_open and status < 300):
                raise AssertionError(f"{step} answers {status} to a key that is {kind}")
