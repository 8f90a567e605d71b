"""Databases for benchmarks of the service: SQLite files, and databases of a PostgreSQL server of its own."""

from __future__ import annotations

import itertools
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import URL

from app.store.engine import POSTGRESQL, SQLITE, database_url
from app.store.migrating import upgrade
from tests.app.databases import Server, start_server

KINDS = (SQLITE, POSTGRESQL)


class Databases:
    """Makes databases with all tables and nothing in them, of one kind, in one folder or on one server."""

    def __init__(self, kind: str, folder: Path, server: Server | None) -> None:
        self.kind = kind
        self._folder = folder
        self._server = server
        self._numbers = itertools.count(1)

    def new(self) -> URL:
        """The address of another one."""
        if self._server is not None:
            url = self._server.create()
        else:
            url = database_url(f"sqlite:///{self._folder / f'runwright_{next(self._numbers)}.db'}")
        upgrade(url)
        return url


@contextmanager
def databases(kind: str) -> Iterator[Databases]:
    """Where databases of a kind are made; what was made is gone at the end.

    PostgreSQL is a server of its own. Like that of the tests it does not wait for its disk; nor does SQLite.
    """
    folder = Path(tempfile.mkdtemp(prefix="runwright-bench-"))
    try:
        if kind == SQLITE:
            yield Databases(kind, folder, None)
            return
        started = start_server(folder)
        try:
            yield Databases(kind, folder, Server(started.get_uri()))
        finally:
            started.cleanup()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
