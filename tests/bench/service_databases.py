"""Databases for benchmarks of the service: SQLite files, and databases of a PostgreSQL server of its own."""

from __future__ import annotations

import itertools
import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL

from app.store.engine import POSTGRESQL, SQLITE, database_url
from app.store.migrating import upgrade
from tests.app.databases import Server, start_server
from tests.bench.process_tree import stat

KINDS = (SQLITE, POSTGRESQL)
STARTED_WITHIN_S = 60.0


class NoServerError(RuntimeError):
    """PostgreSQL cannot be started here."""


class Databases:
    """Makes databases with all tables and nothing in them, of one kind, in one folder or on one server."""

    def __init__(self, kind: str, folder: Path, server: Server | None, started: Any = None) -> None:
        self.kind = kind
        self._folder = folder
        self._server = server
        self._started = started
        self._numbers = itertools.count(1)

    def new(self) -> URL:
        """The address of another one."""
        if self._server is not None:
            url = self._server.create()
        else:
            url = database_url(f"sqlite:///{self._folder / f'runwright_{next(self._numbers)}.db'}")
        upgrade(url)
        return url

    def keep_what_is_committed(self) -> None:
        """Have a server answer once what it was told is written: it is going to be killed."""
        if self._server is not None:
            self._server.run("ALTER SYSTEM SET synchronous_commit = on")
            self._server.run("SELECT pg_reload_conf()")

    def restart(self) -> None:
        """End a server as a power cut would, and start it again.

        Raises
        ------
        ValueError
            Where there is none.
        """
        self._require_server()
        pid = int((self._folder / "data" / "postmaster.pid").read_text(encoding="ascii").split()[0])
        os.kill(pid, signal.SIGQUIT)
        while _runs(pid):
            time.sleep(0.02)
        self._start_again()

    def listen(self, address: str, network: str, before: Sequence[str]) -> None:
        """Start a server again so that it listens at an address too, beside its socket in a folder. As root.

        Parameters
        ----------
        network
            From where anybody may connect.
        before
            Words that run a command where that address is.

        Raises
        ------
        ValueError
            Where there is none.
        """
        self._require_server()
        data, server = self._folder / "data", self._started
        with (data / "pg_hba.conf").open("a", encoding="ascii") as rules:
            rules.write(f"host all all {network} trust\n")
        told = f"-h {address} -k {server.get_postmaster_info().socket_dir}"
        as_owner = (*before, "runuser", "-u", server.system_user, "--")
        command = (*as_owner, str(server.bin_path / "pg_ctl"), "-w", "-t", f"{STARTED_WITHIN_S:g}")
        of_data = ("-D", str(data), "-l", str(server.log), "-m", "fast", "-o", told, "restart")
        subprocess.run((*command, *of_data), check=True, cwd="/", stdout=subprocess.DEVNULL)
        server.ensure_postgres_running()  # so that it is found when it is to be stopped

    def _require_server(self) -> None:
        if self._started is None:
            raise ValueError("a SQLite file has no server")

    def _start_again(self) -> None:
        """Start the server; on a busy machine it may take longer than whoever starts it waits."""
        until_s = time.monotonic() + STARTED_WITHIN_S
        while True:
            try:
                self._started.ensure_postgres_running()
                return
            except (subprocess.SubprocessError, AssertionError):
                if time.monotonic() > until_s:
                    raise
                time.sleep(0.2)


def _runs(pid: int) -> bool:
    try:
        return stat(pid)[0] != "Z"
    except OSError:
        return False


def _started(folder: Path) -> Any:
    try:
        return start_server(folder)
    except Exception as error:  # whatever keeps it from starting is the reason told
        raise NoServerError(f"{error or type(error).__name__}") from error


@contextmanager
def databases(kind: str) -> Iterator[Databases]:
    """Where databases of a kind are made; what was made is gone at the end.

    PostgreSQL is a server of its own. Like that of the tests it does not wait for its disk; nor does SQLite.

    Raises
    ------
    NoServerError
        If PostgreSQL cannot be started.
    """
    folder = Path(tempfile.mkdtemp(prefix="runwright-bench-"))
    try:
        if kind == SQLITE:
            yield Databases(kind, folder, None)
            return
        started = _started(folder)
        try:
            yield Databases(kind, folder, Server(started.get_uri()), started)
        finally:
            started.cleanup()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
