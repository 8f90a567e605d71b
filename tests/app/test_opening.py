"""Opening a database as the settings say."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from app.errors import BadInput, NotMigrated, Unavailable
from app.services.health_checks import Verdict
from app.services.opening import database_checks, open_store
from app.settings import Settings, read_settings
from app.store.migrating import standing, upgrade
from tests.app.databases import Server


def on(database: str, **said: object) -> Settings:
    return read_settings({}, database=database, **said)


def test_a_sqlite_file_is_made_with_its_tables(tmp_path: Path) -> None:
    settings = on(f"sqlite:///{tmp_path}/press.db", database_busy_wait="250 ms")
    with closing(open_store(settings)) as store:
        assert standing(store.engine).is_current
        with store.engine.connect() as connection:
            assert connection.exec_driver_sql("PRAGMA busy_timeout").scalar() == 250
    assert {found.verdict for found in database_checks(settings)} == {Verdict.GOOD}


def test_a_sqlite_file_needs_its_folder(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="should lie in a folder that is there"):
        open_store(on(f"sqlite:///{tmp_path}/nowhere/press.db"))


def test_what_is_no_database_is_refused(tmp_path: Path) -> None:
    (tmp_path / "press.db").write_text("once upon a time " * 100)
    with pytest.raises(BadInput, match="can be read and written"):
        open_store(on(f"sqlite:///{tmp_path}/press.db"))


def test_a_server_is_migrated_by_somebody_and_not_by_itself(postgresql: Server) -> None:
    url = postgresql.create()
    settings = on(url.render_as_string(hide_password=False), database_connections=1, database_wait="100 ms")
    try:
        with pytest.raises(NotMigrated, match="runwright db upgrade"):
            open_store(settings)
        (found,) = database_checks(settings)
        assert found.verdict is Verdict.BAD
        assert "has no tables yet" in found.told
    finally:
        postgresql.drop(url)


def test_whoever_waits_too_long_for_a_connection_is_told(migrated_database: Settings) -> None:
    with closing(open_store(migrated_database)) as store:
        with store.reading(), pytest.raises(Unavailable, match="in use"), store.reading():
            pass
        with store.reading() as view:
            assert view.plant_or_none is None


@pytest.fixture
def migrated_database(postgresql: Server) -> Iterator[Settings]:
    """A migrated database on a server, for one connection at a time."""
    url = postgresql.create()
    upgrade(url)
    yield on(url.render_as_string(hide_password=False), database_connections=1, database_wait="100 ms")
    postgresql.drop(url)
