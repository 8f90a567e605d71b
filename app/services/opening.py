"""Opening a database for the service, and whether it can be opened."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from app.services.health_checks import Found, Verdict, disk
from app.settings import Settings
from app.store.answering import answering
from app.store.engine import USUAL_CONNECTIONS, Connections, database_url
from app.store.migrating import require_current, standing, upgrade
from app.store.store import Store


def open_store(settings: Settings) -> Store:
    """The store that the settings name, with tables of the program's version.

    A SQLite file is made and brought to that version by itself: it belongs to one service. PostgreSQL may
    serve others too, so somebody decides when: `runwright db upgrade`.

    Raises
    ------
    BadInput
        If the address is none, or its folder is not there.
    NotMigrated
        If the tables are of another version.
    Unavailable
        If the database does not answer.
    """
    with answering():
        if settings.is_sqlite:
            upgrade(database_url(settings.database_url))
        store = Store(settings.database_url, connections=_connections(settings))
        try:
            require_current(store.engine)
        except BaseException:
            store.close()
            raise
    return store


def _connections(settings: Settings) -> Connections:
    """What the settings say, and what is usual where they say nothing."""
    wait, busy_wait = settings.database_wait, settings.database_busy_wait
    usual = USUAL_CONNECTIONS
    return Connections(
        most=settings.database_connections or usual.most,
        wait_s=usual.wait_s if wait is None else wait.total_seconds(),
        busy_wait_s=usual.busy_wait_s if busy_wait is None else busy_wait.total_seconds(),
    )


def database_checks(settings: Settings) -> Iterator[Found]:
    """Whether the database answers, is of the program's version, and has room."""
    with closing(Store(settings.database_url)) as store:
        with answering():
            found = standing(store.engine)
        shown = store.url.render_as_string(hide_password=True)
        if found.is_current:
            yield Found("database", Verdict.GOOD, f"{shown} is at version {found.head}, as it should be")
        elif found.current is None and settings.is_sqlite:
            yield Found("database", Verdict.NOTE, f"{shown} has no tables yet: serve makes them")
        else:
            now = f"is at version {found.current}" if found.current else "has no tables yet"
            told = f"{shown} {now} and should be at {found.head}: runwright db upgrade"
            yield Found("database", Verdict.BAD, told)
        if settings.is_sqlite:
            yield from disk(Path(str(store.url.database)).absolute().parent)
