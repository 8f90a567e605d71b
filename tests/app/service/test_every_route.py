"""Every route of the real service with every kind of key."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI

from app.contracts.people import AskedKey
from app.main import service_of
from app.security import KeyText, Role, new_key, read_key
from app.services import keys
from app.settings import read_settings
from app.store.engine import database_url
from app.store.store import Actor
from tests.app.api.walking import steps, walk_with_every_role, walk_with_useless_keys
from tests.app.service.served import LINE, NOW, Served, send_sample, served

MANY = {"requests_per_minute_by_key": 0, "requests_per_minute_by_address": 0, "wrong_keys_per_minute": 0}


@pytest.fixture
def running(tmp_path: Path, migrated_sqlite: Path) -> Iterator[Served]:
    """The service with the small sample."""
    path = tmp_path / "press.db"
    path.write_bytes(migrated_sqlite.read_bytes())
    with served(database_url(f"sqlite:///{path}")) as service:
        send_sample(service.asking())
        yield service


def unlimited(running: Served) -> FastAPI:
    """The same service for a walk that asks hundreds of times."""
    return service_of(read_settings({}, **MANY), running.shop)


def test_every_route_lets_in_the_roles_it_declares_and_no_other(running: Served) -> None:
    walk_with_every_role(unlimited(running), {role: running.key(role) for role in Role}, LINE)


def test_no_route_answers_to_a_key_that_opens_nothing(running: Served) -> None:
    with running.shop.store.writing(Actor("tests", "main")) as work:
        expired = keys.create(work, AskedKey(name="old", role=Role.ADMIN, expires_at=NOW - timedelta(days=1)))
        revoked = keys.create(work, AskedKey(name="lost", role=Role.ADMIN))
        keys.revoke(work, revoked.shown.id)
    real = read_key(running.key(Role.ADMIN))
    walk_with_useless_keys(
        unlimited(running),
        {
            "none": None,
            "of nobody": new_key(),
            "with another secret": KeyText(real.public_id, new_key().secret),
            "of no form": "open sesame",
            "expired": expired.key,
            "revoked": revoked.key,
        },
    )


def test_every_answer_of_the_walk_is_described(running: Served) -> None:
    app = unlimited(running)
    client = running.asking()
    document = client.get("/openapi.json").json()
    for step in steps(app, LINE):
        if step.declared.path == "/openapi.json":
            continue
        told = document["paths"][step.declared.path][step.method.lower()]["responses"]
        for role in (Role.ADMIN, Role.PRESS):
            status = step.status(client, running.key(role))
            assert status < 500, (str(step), status)
            assert str(status) in told, (str(step), status)
