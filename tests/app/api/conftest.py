"""An application over things in memory, and clients of every role."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.api.application import Parts, create_app
from app.security import Doorkeeper, KeyText, Role
from app.settings import read_settings
from tests.app.api.die_shelf import DieShelf, die_routes
from tests.app.api.key_shelf import KeyShelf


@dataclass
class Needs:
    """What keeps a service from answering."""

    missing: list[str] = field(default_factory=list)

    def faults(self) -> Sequence[str]:
        return self.missing


@dataclass
class Service:
    """An application and what is behind it."""

    keys: KeyShelf = field(default_factory=KeyShelf)
    dies: DieShelf = field(default_factory=DieShelf)
    needs: Needs = field(default_factory=Needs)

    def app(self, **settings: object) -> FastAPI:
        parts = Parts(Doorkeeper(self.keys), self.needs)
        return create_app(read_settings({}, **settings), parts, [die_routes(self.dies)])


def as_holder(app: FastAPI, key: KeyText | str | None) -> TestClient:
    """Who asks with a key, or without one."""
    headers = {} if key is None else {"Authorization": f"Bearer {key}"}
    return TestClient(app, raise_server_exceptions=False, headers=headers, follow_redirects=False)


@pytest.fixture
def service() -> Service:
    return Service()


Asking = Callable[[Role | None], TestClient]


@pytest.fixture
def asking(service: Service) -> Asking:
    """Gives a client with a key of a role, all of one application."""
    app = service.app()

    def client(role: Role | None) -> TestClient:
        return as_holder(app, None if role is None else service.keys.issue(role))

    return client


@pytest.fixture
def admin(asking: Asking) -> TestClient:
    return asking(Role.ADMIN)
