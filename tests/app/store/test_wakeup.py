"""Whoever waits is told that something has changed, whatever the database and the others do meanwhile."""

from __future__ import annotations

import queue
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from app.contracts.planning_requests import RequestStatus
from app.store import claims, requests
from app.store.claims import Ended
from app.store.engine import is_sqlite
from app.store.store import Store, Work
from app.store.wakeup import Wakeup, notify
from tests.app.store.planning_requests import (
    LEASE_S,
    RUN_OUT,
    SUPERVISOR,
    as_worker,
    claimed,
    enqueue,
    progress,
)
from tests.app.store.things import ANN, NOON

LONG_S = 30
"""What comes at all comes sooner."""


class Heard:
    """Topics in the order in which they were heard."""

    def __init__(self) -> None:
        self._topics: queue.SimpleQueue[str | None] = queue.SimpleQueue()

    def __call__(self, topic: str | None) -> None:
        self._topics.put(topic)

    def next(self) -> str | None:
        return self._topics.get(timeout=LONG_S)

    def until(self, last: str | None) -> set[str | None]:
        """All topics up to one."""
        heard: set[str | None] = set()
        while last not in heard:
            heard.add(self.next())
        return heard

    @property
    def is_empty(self) -> bool:
        return self._topics.empty()


@pytest.fixture
def wakeup(store: Store) -> Iterator[Wakeup]:
    wakeup = Wakeup(store.url)
    yield wakeup
    wakeup.close()


@pytest.fixture
def heard(wakeup: Wakeup) -> Heard:
    """What is heard from now on, by somebody who listens already."""
    heard = Heard()
    wakeup.subscribe(heard)
    wakeup.start()
    assert heard.next() is None
    return heard


def change(work: Work, topic: str) -> None:
    """A change of something, and its topic."""
    work.connection.execute(text("UPDATE plants SET setup_version = setup_version + 1"))
    notify(work, topic)


def say(store: Store, topic: str) -> None:
    with store.writing(ANN) as work:
        change(work, topic)


def test_a_change_is_heard_once_it_is_committed(store: Store, heard: Heard) -> None:
    with store.writing(ANN) as work:
        change(work, "webhooks")
        assert heard.is_empty
    assert heard.next() == (None if is_sqlite(store.engine) else "webhooks")


def test_a_change_that_is_undone_is_not_heard(store: Store, heard: Heard) -> None:
    with store.engine.connect() as connection, connection.begin() as transaction:
        change(Work(connection, "here", 1, ANN, NOON), "undone")
        transaction.rollback()
    assert heard.is_empty
    say(store, "done")
    assert heard.next() == (None if is_sqlite(store.engine) else "done")
    assert heard.is_empty


def test_whatever_happens_to_a_request_wakes_those_who_follow_it(store: Store, heard: Heard) -> None:
    def told(*topics: str) -> None:
        if is_sqlite(store.engine):
            assert heard.next() is None
            return
        for topic in topics:
            assert heard.next() == topic

    enqueue(store, "R-1", attempts=2)
    told("request:R-1", "queued")
    lost = claimed(store, lease_s=RUN_OUT)
    told("request:R-1")
    with store.writing(as_worker(lost)) as work:
        claims.beat(work, lost, RUN_OUT, progress(), None)
    told("request:R-1")
    with store.writing(SUPERVISOR) as work:
        claims.reap(work)
    told("request:R-1", "queued")
    claim = claimed(store)
    told("request:R-1")
    with store.writing(ANN) as work:
        requests.cancel(work, "R-1")
    told("request:R-1")
    with store.writing(as_worker(claim)) as work:
        claims.finish(work, claim, Ended(RequestStatus.CANCELLED))
    told("request:R-1")
    with store.writing(ANN) as work:
        requests.remove(work, "R-1")
    told("request:R-1")


def test_a_heartbeat_without_news_wakes_nobody_on_postgresql(store: Store, heard: Heard) -> None:
    if is_sqlite(store.engine):
        return
    enqueue(store, "R-1")
    claim = claimed(store)
    heard.until("queued")
    assert heard.next() == "request:R-1"
    with store.writing(as_worker(claim)) as work:
        claims.beat(work, claim, LEASE_S, None, None)
    say(store, "last")
    assert heard.next() == "last"


def test_what_one_makes_of_it_keeps_nobody_else_from_hearing(store: Store, wakeup: Wakeup) -> None:
    def raises(_topic: str | None) -> None:
        raise RuntimeError

    heard = Heard()
    wakeup.subscribe(raises)
    wakeup.subscribe(heard)
    wakeup.start()
    assert heard.next() is None
    for _ in range(2):
        say(store, "webhooks")
        assert heard.next() in (None, "webhooks")


def test_who_does_not_want_to_hear_any_more_does_not(store: Store, wakeup: Wakeup) -> None:
    gone, stays = Heard(), Heard()
    stop = wakeup.subscribe(gone)
    wakeup.subscribe(stays)
    wakeup.start()
    assert (gone.next(), stays.next()) == (None, None)
    stop()
    stop()
    say(store, "webhooks")
    assert stays.next() in (None, "webhooks")
    assert gone.is_empty


def test_a_connection_that_breaks_is_made_anew_and_that_is_heard(store: Store, heard: Heard) -> None:
    if is_sqlite(store.engine):
        return
    with store.engine.begin() as connection:
        listening = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE query LIKE 'LISTEN%'"
        others = f"{listening} AND datname = current_database()"
        assert connection.execute(text(others)).all() == [(True,)]
    assert heard.next() is None
    say(store, "webhooks")
    assert heard.next() == "webhooks"


def test_a_database_that_comes_later_is_waited_for(tmp_path: Path, migrated_sqlite: Path) -> None:
    path = tmp_path / "100 % late.db"
    heard, wakeup = Heard(), Wakeup(f"sqlite:///{path}")
    wakeup.subscribe(heard)
    wakeup.start()
    path.write_bytes(migrated_sqlite.read_bytes())
    assert heard.next() is None
    wakeup.close()


def test_nothing_is_heard_behind_the_end(store: Store, wakeup: Wakeup, heard: Heard) -> None:
    wakeup.close()
    wakeup.close()
    say(store, "webhooks")
    assert heard.is_empty
    assert "wakeup" not in {thread.name for thread in threading.enumerate()}


def test_one_that_was_never_started_ends(store: Store) -> None:
    Wakeup(store.url).close()


def test_a_callback_may_end_the_listening(store: Store) -> None:
    wakeup, ended = Wakeup(store.url), threading.Event()

    def end(_topic: str | None) -> None:
        wakeup.close()
        ended.set()

    wakeup.subscribe(end)
    wakeup.start()
    assert ended.wait(LONG_S)
    wakeup.close()


def test_a_server_that_does_not_answer_keeps_nobody_from_ending(monkeypatch: pytest.MonkeyPatch) -> None:
    """It takes connections and says nothing, as one does that is just being stopped."""
    monkeypatch.setattr("app.store.wakeup.CLOSE_WITHIN_S", 0.05)
    with socket.create_server(("127.0.0.1", 0)) as server:
        host, port = server.getsockname()
        wakeup = Wakeup(f"postgresql://ann@{host}:{port}/labels")
        wakeup.start()
        taken, _ = server.accept()
        wakeup.close()
        taken.close()


def test_two_that_listen_hear_the_same(store: Store, heard: Heard) -> None:
    other, second = Wakeup(store.url), Heard()
    other.subscribe(second)
    other.start()
    assert second.next() is None
    say(store, "webhooks")
    assert heard.next() == second.next()
    other.close()
