"""Answers to an Idempotency-Key are kept for as long as the settings say."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from sqlalchemy import URL
from starlette.testclient import TestClient

from app.main import service_of
from app.services import plant_setup
from app.services.workshop import Workshop
from app.settings import read_settings
from app.store import idempotency
from app.store.store import Actor, Store
from tests.app.service.served import NOW


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
