"""Tells whoever waits that something has changed, without his asking again and again.

PostgreSQL says so itself: a notification is of the transaction that made the change, and comes when that is
committed. Of a SQLite file one asks, which takes microseconds, whether anybody has written to it.
"""

from __future__ import annotations

import selectors
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Final

from sqlalchemy import URL, text

from app.store.engine import (
    SQLITE,
    USUAL_CONNECTIONS,
    Connections,
    database_url,
    is_sqlite,
    network_options,
)
from app.store.store import Work
from app.telemetry import log

CHANNEL: Final = "runwright"
QUEUED_TOPIC: Final = "queued"
"""A planning request waits for a worker."""

WEBHOOKS_TOPIC: Final = "webhooks"
"""Something is to be delivered."""

LOOK_EVERY_S = 0.05
"""How often one looks whether a SQLite file has changed."""

SHORTEST_PAUSE_S, LONGEST_PAUSE_S = 0.1, 5.0
"""Between two tries to reach a database that does not answer."""

CLOSE_WITHIN_S = 1.0
"""A thread that is just trying to reach a server ends later by itself."""

LOG = log("runwright.wakeup")

Callback = Callable[[str | None], object]
"""Takes a topic; None: anything may have changed."""

_NOTIFY = text(f"SELECT pg_notify('{CHANNEL}', topic) FROM unnest(CAST(:topics AS text[])) AS topic")


def request_topic(id: str) -> str:
    """Something has happened to this planning request, or it is further."""
    return f"request:{id}"


def notify(work: Work, *topics: str) -> None:
    """Wake those who listen to topics once the transaction is committed. On SQLite nothing need be said:
    whoever waits looks whether the file has changed.
    """
    if not is_sqlite(work.connection):
        work.connection.execute(_NOTIFY, {"topics": list(topics)})


class Wakeup:
    """Listens for all that wait in a process, on one connection and in one thread.

    Callbacks are called from that thread, one behind the other: they should only pass on what they hear.
    After every connecting they hear None, since nobody knows what was said before.

    Parameters
    ----------
    database
        Its address: sqlite:///FILE or postgresql://….
    """

    def __init__(self, database: str | URL, connections: Connections = USUAL_CONNECTIONS) -> None:
        self._url = database_url(database) if isinstance(database, str) else database
        self._connections = connections
        self._callbacks: tuple[Callback, ...] = ()
        self._changing = threading.Lock()
        self._bell = _Bell()
        self._thread = threading.Thread(target=self._listen, name="wakeup", daemon=True)

    def start(self) -> None:
        """Begin to listen; whether the database answers is not waited for."""
        self._thread.start()

    def close(self) -> None:
        """Listen no more: no callback begins from now on, and one that runs is waited for."""
        self._bell.ring()
        if self._thread.ident is None:
            self._bell.close()
        elif threading.current_thread() is not self._thread:
            self._thread.join(CLOSE_WITHIN_S)

    def subscribe(self, callback: Callback) -> Callable[[], None]:
        """Call back with every topic from now on; what is returned ends that."""
        with self._changing:
            self._callbacks = (*self._callbacks, callback)

        def unsubscribe() -> None:
            with self._changing:
                self._callbacks = tuple(kept for kept in self._callbacks if kept is not callback)

        return unsubscribe

    def _listen(self) -> None:
        pause_s = SHORTEST_PAUSE_S
        while not self._bell.rung:
            try:
                for topic in self._heard():
                    pause_s = SHORTEST_PAUSE_S
                    self._tell(topic)
            except Exception as error:  # whatever the driver calls it: the database does not answer
                LOG.warning("nothing heard", why=str(error).strip(), again_s=pause_s)
                self._bell.wait(pause_s)
                pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
        self._bell.close()

    def _heard(self) -> Iterator[str | None]:
        if self._url.get_backend_name() == SQLITE:
            return _changes(self._url, self._bell)
        return _notifications(self._url, self._connections, self._bell)

    def _tell(self, topic: str | None) -> None:
        for callback in self._callbacks:
            if self._bell.rung:
                return
            try:
                callback(topic)
            except Exception:  # what one makes of it must not keep the others from hearing
                LOG.exception("what was heard did harm", topic=topic)


class _Bell:
    """Ends all waiting at once when it is rung, which stays so."""

    def __init__(self) -> None:
        self._ear, self._clapper = socket.socketpair()
        self._guard = threading.Lock()
        self.rung = False

    def ring(self) -> None:
        with self._guard:
            if not self.rung:
                self.rung = True
                self._clapper.send(b".")

    def close(self) -> None:
        """Take it down, once nobody waits any more."""
        with self._guard:
            self._ear.close()
            self._clapper.close()

    def wait(self, seconds: float | None, other: int | None = None) -> None:
        """Wait so long, or until it rings, or until there is something to be read from another socket."""
        with selectors.DefaultSelector() as selector:
            selector.register(self._ear, selectors.EVENT_READ)
            if other is not None:
                selector.register(other, selectors.EVENT_READ)
            selector.select(seconds)


def _notifications(url: URL, connections: Connections, bell: _Bell) -> Iterator[str | None]:
    """Topics as a PostgreSQL server tells them, None first."""
    import psycopg

    arguments = url.get_dialect()().create_connect_args(url)[1]
    with psycopg.connect(**{**network_options(url, connections), **arguments}, autocommit=True) as connection:
        connection.execute(f"LISTEN {CHANNEL}".encode())
        yield None
        while not bell.rung:
            for notification in connection.notifies(timeout=0):
                yield notification.payload
            bell.wait(None, connection.fileno())


def _changes(url: URL, bell: _Bell) -> Iterator[None]:
    """None whenever somebody has written to a SQLite file, and at first."""
    with closing(
        sqlite3.connect(f"file:{url.database}?mode=rw", uri=True, isolation_level=None)
    ) as connection:
        known = None
        while not bell.rung:
            (version,) = connection.execute("PRAGMA data_version").fetchone()
            if version != known:
                known = version
                yield None
            bell.wait(LOOK_EVERY_S)
