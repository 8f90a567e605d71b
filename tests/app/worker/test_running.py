"""A worker's start: it waits for its database, and says so where it cannot work at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.errors import BadInput, Unavailable
from app.settings import Settings, read_settings
from app.store.store import Store
from app.worker import running


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return read_settings({"RUNWRIGHT_DATABASE": f"sqlite:///{tmp_path / 'press.db'}"})


def answers_after(tries: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A database that does not answer before it was asked so often."""
    asked: list[Settings] = []

    def opened(settings: Settings) -> Store:
        asked.append(settings)
        if len(asked) < tries:
            raise Unavailable("The database does not answer: it is being started.")
        return Store(settings.database_url)

    monkeypatch.setattr(running, "open_store", opened)
    monkeypatch.setattr(running, "TRIED_AGAIN_AFTER_S", 0.0)


def test_a_database_that_is_being_started_is_waited_for(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers_after(3, monkeypatch)
    told: list[str] = []
    running.opened_store(settings, told.append).close()
    assert told == ["The database does not answer: it is being started. Trying again …"] * 2


def test_it_is_not_waited_for_without_end(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    answers_after(10**9, monkeypatch)
    monkeypatch.setattr(running, "STARTED_WITHIN_S", 0.0)
    with pytest.raises(Unavailable, match="being started"):
        running.opened_store(settings, lambda _: None)


def test_a_system_that_cannot_fork_is_told_so(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr("os.fork")
    with pytest.raises(BadInput, match="Linux and macOS"):
        running.work(settings, None, lambda _: None)
