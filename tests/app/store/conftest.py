"""Databases for the store's tests, and a store with two plants."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import URL

from app.store import plants
from app.store.engine import SQLITE, database_url
from app.store.store import Actor, Store
from tests.app.databases import KINDS, LentDatabase, Server
from tests.app.store.things import Clock, sample_plant


def plant_two(url: URL) -> None:
    store = Store(url, Clock())
    for name in ("here", "elsewhere"):
        with store.writing(Actor("Ann")) as work:
            plants.create(work, name, sample_plant())
    store.close()


@pytest.fixture(scope="session")
def planted_sqlite(migrated_sqlite: Path) -> Path:
    """A SQLite file with two plants, to be copied."""
    path = migrated_sqlite.with_name("planted.db")
    shutil.copyfile(migrated_sqlite, path)
    plant_two(database_url(f"sqlite:///{path}"))
    return path


@pytest.fixture(scope="session")
def planted_postgresql(postgresql: Server, migrated_postgresql: str) -> Iterator[LentDatabase]:
    """A PostgreSQL database with two plants, for one test after the other."""
    url = postgresql.create(template=migrated_postgresql)
    plant_two(url)
    database = LentDatabase(postgresql, str(url.database))
    yield database
    database.close()


@pytest.fixture(params=KINDS)
def planted(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[URL]:
    """Address of a database with two plants, here and elsewhere, on SQLite and on PostgreSQL."""
    if request.param == SQLITE:
        path = tmp_path / "planted.db"
        shutil.copyfile(request.getfixturevalue("planted_sqlite"), path)
        yield database_url(f"sqlite:///{path}")
        return
    lent: LentDatabase = request.getfixturevalue("planted_postgresql")
    with lent.lent() as url:
        yield url


@pytest.fixture
def store(planted: URL) -> Iterator[Store]:
    """A store with two plants."""
    store = Store(planted, Clock())
    yield store
    store.close()


@pytest.fixture
def store_today(planted: URL) -> Iterator[Store]:
    """The same with the clock of this machine, which is PostgreSQL's too."""
    store = Store(planted)
    yield store
    store.close()
