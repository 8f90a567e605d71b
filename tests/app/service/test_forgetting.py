"""Answers to an Idempotency-Key, and plans, are kept for as long as the settings say."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import URL
from starlette.testclient import TestClient

from app.main import service_of
from app.services import plant_setup
from app.services.workshop import Workshop
from app.settings import read_settings
from app.store import idempotency, requests
from app.store.engine import database_url
from app.store.listing import Query
from app.store.store import Actor, Store
from tests.app.service.served import NOW
from tests.app.store.planning_requests import request


def clock(moment: datetime) -> Callable[[], datetime]:
    return lambda: moment


@pytest.mark.parametrize(("days", "kept"), [(6, 1), (8, 0)])
def test_an_answer_is_forgotten_after_a_week(database: URL, days: int, kept: int) -> None:
    store = Store(database, clock=clock(NOW))
    with store.writing(Actor("tests")) as work:
        plant_setup.create(work, "main")
    with store.writing(Actor("tests", "main")) as work:
        given = idempotency.GivenAnswer("POST /api/v1/jobs", "0" * 64, 201, (), b"{}")
        idempotency.give(work, "the MIS", "order-17", given)
    store.close()
    later = Workshop(Store(database, clock=clock(NOW + timedelta(days=days))))
    app = service_of(read_settings({}, answers_kept="7 d"), later)
    with TestClient(app) as client:
        client.get("/healthz")
    store = Store(database)
    with store.writing(Actor("tests", "main")) as work:
        assert (idempotency.given(work, "the MIS", "order-17") is not None) == bool(kept)
    store.close()


@pytest.mark.parametrize(("days", "kept"), [(29, 1), (31, 0)])
def test_a_plan_is_forgotten_after_a_month(
    migrated_sqlite: Path, tmp_path: Path, days: int, kept: int
) -> None:
    path = tmp_path / "runwright.db"
    path.write_bytes(migrated_sqlite.read_bytes())
    url = database_url(f"sqlite:///{path}")
    store = Store(url, clock=clock(NOW))
    with store.writing(Actor("tests")) as work:
        plant_setup.create(work, "main")
    with store.writing(Actor("tests", "main")) as work:
        requests.enqueue(work, request("R-1"))
        requests.cancel(work, "R-1")
    store.close()
    later = Workshop(Store(url, clock=clock(NOW + timedelta(days=days))))
    with TestClient(service_of(read_settings({}), later)) as client:
        client.get("/healthz")
    store = Store(url)
    with store.reading("main") as view:
        assert len(requests.listed(view, Query()).items) == kept
    store.close()
