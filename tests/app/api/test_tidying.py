"""What a running service forgets by and by."""

from __future__ import annotations

from threading import Event

import pytest
from starlette.testclient import TestClient

from app.api.application import Parts, create_app
from app.api.health import ALIVE
from app.security import Doorkeeper
from app.settings import read_settings
from tests.app.api.conftest import Needs
from tests.app.api.key_shelf import KeyShelf


def test_a_service_tidies_when_it_starts_and_goes_on_if_that_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.api.application.TIDIED_EVERY_S", 0.001)
    tidied, done, stopped = [], Event(), Event()

    def tidy() -> None:
        tidied.append(1)
        if len(tidied) == 1:
            raise OSError("not this time")
        done.set()

    parts = Parts(Doorkeeper(KeyShelf()), Needs(), tidy=tidy, stop=stopped.set)
    with TestClient(create_app(read_settings({}), parts, [])) as client:
        assert client.get(ALIVE).status_code == 200
        assert done.wait(timeout=30)
        assert not stopped.is_set()
    assert stopped.is_set()
