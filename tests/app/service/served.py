"""The whole service over a real database, and clients of every role."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

from fastapi import FastAPI
from sqlalchemy import URL
from starlette.testclient import TestClient

from app.contracts.people import AskedKey
from app.main import service_of
from app.security import Role
from app.services import keys, plant_setup
from app.services.workshop import Workshop
from app.settings import read_settings
from app.store.store import Actor, Store

SAMPLES = Path(__file__).parents[3] / "sample_data"
NOW = datetime(2027, 2, 28, 12, tzinfo=UTC)
LINE = "H1"
USUAL = {"webhook_targets": "mis.example.com", "wrong_keys_per_minute": 0}
"""Settings. Wrong keys are counted by a process, whoever tries them."""


@dataclass
class Served:
    """A service, and a key of every role for each of its plants."""

    app: FastAPI
    shop: Workshop
    plants: tuple[str, ...] = ("main", "other")
    _clients: dict[tuple[Role | None, str], TestClient] = field(default_factory=dict)

    def asking(self, role: Role | None = Role.ADMIN, plant: str = "main") -> TestClient:
        """A client with a key of a role, or without one."""
        if (role, plant) not in self._clients:
            key = None if role is None else self.key(role, plant)
            headers = {} if key is None else {"Authorization": f"Bearer {key}"}
            client = TestClient(self.app, raise_server_exceptions=False, headers=headers)
            self._clients[role, plant] = client
        return self._clients[role, plant]

    def key(self, role: Role, plant: str = "main") -> str:
        """A new key of a role."""
        line = LINE if role is Role.PRESS else None
        with self.shop.store.writing(Actor("tests", plant)) as work:
            return keys.create(work, AskedKey(name=f"the {role.value}", role=role, line=line)).key


@dataclass
class PresentStore:
    """Stands where a store does, and is that of the test that runs."""

    store: Callable[[], Store]

    def close(self) -> None:
        self.store().close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.store(), name)


@dataclass
class PresentShop:
    """Stands where a workshop does, and is the one of the test that runs."""

    shop: Workshop | None = None

    def present(self) -> Workshop:
        if self.shop is None:
            raise RuntimeError("no test is served")
        return self.shop

    def now(self) -> datetime:
        return self.present().now()

    @property
    def store(self) -> PresentStore:
        return PresentStore(lambda: self.present().store)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.present(), name)


_Application = tuple[FastAPI, PresentShop]
_resting: dict[frozenset[tuple[str, object]], list[_Application]] = {}
"""Applications of a process that no test asks at the moment, by their settings."""


@contextmanager
def _application(said: Mapping[str, object]) -> Iterator[_Application]:
    """An application, perhaps one that other tests have asked: reading what its routes declare takes longer
    than most tests. What it remembers is of keys, and every test has keys of its own.
    """
    resting = _resting.setdefault(frozenset(said.items()), [])
    if not resting:
        shop = PresentShop()
        resting.append((service_of(read_settings({}, **said), cast("Workshop", shop)), shop))
    application = resting.pop()
    yield application
    resting.append(application)


@contextmanager
def served(database: URL, **said: object) -> Iterator[Served]:
    """The service over a migrated database, with two plants that have nothing yet; `said` are settings."""
    store = Store(database)
    shop = Workshop(store, now=lambda: NOW)
    for plant in ("main", "other"):
        with store.writing(Actor("tests")) as work:
            plant_setup.create(work, plant)
    with _application({**USUAL, **said}) as (app, present):
        present.shop = shop
        with TestClient(app):
            yield Served(app, shop)


def send_sample(client: TestClient, sample: str = "small", stock: bool = False) -> None:
    """Send a sample's plant and its jobs as files."""
    folder = SAMPLES / sample
    sent = client.put(
        "/api/v1/files/plant",
        content=(folder / "plant.json").read_bytes(),
        headers={"Content-Type": "application/json"},
    )
    assert sent.status_code == 200, sent.text
    files = ("stock", "jobs") if stock else ("jobs",)
    for name in files:
        sent = client.put(
            f"/api/v1/files/{name}",
            content=(folder / f"{name}.csv").read_bytes(),
            headers={"Content-Type": "text/csv"},
        )
        assert sent.status_code == 200, sent.text


def problem(response: Any, status: int, slug: str) -> dict[str, Any]:
    """The problem that an answer tells."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    told: dict[str, Any] = json.loads(response.text)
    assert told["type"] == f"/problems/{slug}", told
    assert told["status"] == status
    return told


def places(told: Mapping[str, Any]) -> list[str]:
    """Fields that a problem names."""
    return [error["field"] for error in told["errors"]]
