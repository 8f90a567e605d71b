"""Connections: what is taken for a database, and how transactions begin."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import URL, text
from sqlalchemy.exc import DBAPIError

from app.errors import BadInput, Unavailable
from app.store.engine import Connections, connect_to, database_url, is_sqlite, let_rest, reads_only
from app.store.store import Store, Work
from tests.app.databases import Server
from tests.app.store.things import ANN


@pytest.mark.parametrize(
    ("address", "driver", "password"),
    [
        ("sqlite:///runwright.db", "sqlite", None),
        ("postgresql://ann:secret@db/labels", "postgresql+psycopg", "secret"),
        ("postgres://ann:100%25%40home@db/labels", "postgresql+psycopg", "100%@home"),
        ("postgresql+psycopg2://ann@db/labels", "postgresql+psycopg", None),
    ],
)
def test_addresses_of_both_kinds_are_taken(address: str, driver: str, password: str | None) -> None:
    url = database_url(address)
    assert url.drivername == driver
    assert url.password == password


@pytest.mark.parametrize(
    "address", ["", "runwright.db", "mysql://ann:secret@db/labels", "sqlite://", "sqlite:///:memory:"]
)
def test_other_addresses_are_refused_without_their_password(address: str) -> None:
    with pytest.raises(BadInput) as refused:
        database_url(address)
    assert "sqlite:///" in str(refused.value)
    assert "secret" not in str(refused.value)


def test_a_file_in_no_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="folder that is there"):
        connect_to(database_url(f"sqlite:///{tmp_path / 'nowhere' / 'runwright.db'}"))


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text("job,customer\n" * 100, encoding="utf-8")
    with pytest.raises(BadInput, match="should be a SQLite database"):
        connect_to(database_url(f"sqlite:///{path}"))


def test_sqlite_keeps_its_foreign_keys_and_its_log(tmp_path: Path) -> None:
    engine = connect_to(database_url(f"sqlite:///{tmp_path / 'runwright.db'}"))
    with engine.connect() as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "foreign_keys", "synchronous")
        }
    engine.dispose()
    assert found == {"journal_mode": "wal", "foreign_keys": 1, "synchronous": 1}


OPENER = (
    "import sys; from app.store.engine import connect_to, database_url; connect_to(database_url(sys.argv[1]))"
)


def test_several_processes_may_open_a_new_file_at_once(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'new.db'}"
    root = Path(__file__).parents[3]
    openers = [subprocess.Popen([sys.executable, "-c", OPENER, address], cwd=root) for _ in range(4)]
    assert [opener.wait() for opener in openers] == [0, 0, 0, 0]


def test_a_reader_waits_for_no_writer_and_sees_one_state(database: URL) -> None:
    engine = connect_to(database)
    with engine.begin() as setup:
        setup.execute(text("CREATE TABLE counts (n INTEGER)"))
        setup.execute(text("INSERT INTO counts VALUES (1)"))
    with reads_only(engine).connect() as reader:
        assert reader.execute(text("SELECT n FROM counts")).scalar_one() == 1
        with engine.begin() as writer:
            writer.execute(text("UPDATE counts SET n = 2"))
            assert reader.execute(text("SELECT n FROM counts")).scalar_one() == 1
        assert reader.execute(text("SELECT n FROM counts")).scalar_one() == 1
    with reads_only(engine).connect() as reader:
        assert reader.execute(text("SELECT n FROM counts")).scalar_one() == 2
    engine.dispose()


def test_a_writer_on_sqlite_has_the_file_from_its_first_read_on(tmp_path: Path) -> None:
    engine = connect_to(database_url(f"sqlite:///{tmp_path / 'runwright.db'}"))
    impatient = connect_to(database_url(f"sqlite:///{tmp_path / 'runwright.db'}"))
    with engine.connect() as first:
        first.execute(text("SELECT 1"))
        raw = impatient.raw_connection()
        cursor = raw.cursor()
        cursor.execute("PRAGMA busy_timeout = 0")
        with pytest.raises(Exception, match="locked"):
            cursor.execute("BEGIN IMMEDIATE")
        raw.close()
    engine.dispose()
    impatient.dispose()


def test_a_reader_on_postgresql_cannot_write(database: URL) -> None:
    engine = connect_to(database)
    if not is_sqlite(engine):
        with reads_only(engine).connect() as reader, pytest.raises(DBAPIError, match="read-only"):
            reader.execute(text("DELETE FROM jobs"))
    engine.dispose()


def test_a_connection_that_the_server_closed_while_it_rested_is_replaced(
    postgresql: Server, migrated_postgresql: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine = connect_to(postgresql.url(migrated_postgresql))
    monkeypatch.setattr("app.store.engine.ASK_AFTER_S", 0)
    with engine.connect() as connection:
        number = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
    postgresql.run(f"SELECT pg_terminate_backend({number}, 5000)")
    with engine.connect() as connection:
        assert connection.execute(text("SELECT pg_backend_pid()")).scalar_one() != number
    engine.dispose()


def test_a_connection_in_steady_use_is_not_asked(
    postgresql: Server, migrated_postgresql: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine = connect_to(postgresql.url(migrated_postgresql))
    asked: list[object] = []
    monkeypatch.setattr(engine.dialect, "do_ping", asked.append)
    for _ in range(3):
        with engine.connect() as connection:
            connection.execute(text("SELECT 1"))
    assert asked == []
    engine.dispose()


def test_a_server_that_is_cut_off_is_found_out_soon(postgresql: Server, migrated_postgresql: str) -> None:
    url = postgresql.url(migrated_postgresql).update_query_dict({"keepalives_idle": "77"})
    engine = connect_to(url, connections=Connections(cut_off_s=4.5))
    with engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        said = driver.info.get_parameters()
    engine.dispose()
    found = {name: said[name] for name in NETWORK}
    assert found == {
        "connect_timeout": "5",
        "keepalives": "1",
        "keepalives_idle": "77",
        "keepalives_interval": "1",
        "keepalives_count": "2",
        "tcp_user_timeout": "4500",
    }


NETWORK = (
    "connect_timeout",
    "keepalives",
    "keepalives_idle",
    "keepalives_interval",
    "keepalives_count",
    "tcp_user_timeout",
)


def test_a_transaction_that_rests_for_too_long_lets_go_of_what_it_holds(store: Store) -> None:
    """As one does of a process that was stopped: others would wait for it for ever."""
    if is_sqlite(store.engine):
        return
    resting = Store(store.url, connections=Connections(rest_s=0.05))

    def rest(work: Work) -> None:
        work.connection.execute(held)
        with store.writing(ANN) as other:
            other.connection.execute(held)
        work.connection.execute(text("SELECT 1"))

    held = text("SELECT pk FROM plants FOR UPDATE")
    with pytest.raises(Unavailable, match="idle-in-transaction"), resting.writing(ANN) as work:
        rest(work)
    with resting.reading() as view:
        assert view.connection.execute(text("SELECT 1 FROM pg_sleep(0.2)")).scalar_one() == 1
    resting.close()


def test_a_transaction_that_has_much_to_do_may_rest(store: Store) -> None:
    hasty = Store(store.url, connections=Connections(rest_s=0.05))
    with hasty.writing(ANN) as work:
        let_rest(work.connection)
        time.sleep(0.2)
        assert work.connection.execute(text("SELECT 1")).scalar_one() == 1
    hasty.close()
