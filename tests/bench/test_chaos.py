"""Chaos in a short form on both databases; and what it holds against the queue must be found where it is."""

from __future__ import annotations

import json
import random
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, delete, insert, select, update

from app.contracts.planning_requests import EventKind, RequestStatus
from app.store import claims, plants
from app.store.engine import POSTGRESQL, database_url
from app.store.migrating import upgrade
from app.store.store import Actor, Store
from tests.app.costed_plans import QUEUE
from tests.app.databases import without_server
from tests.app.store.planning_requests import LEASE_S, as_worker, claimed, enqueue, finish
from tests.app.store.things import ANN
from tests.bench import chaos, chaos_checks, service_worker
from tests.bench.__main__ import main
from tests.bench.chaos_checks import AUDIT, EVENTS, REQUESTS, SEQUENCES, BrokenQueueError
from tests.bench.chaos_deeds import KILLS, Deed, Deeds
from tests.bench.chaos_proofs import SETTLED_S, Hit, Proofs
from tests.bench.load_rows import engine_of, keyed
from tests.bench.process_tree import descendants, send
from tests.bench.service_databases import KINDS, NoServerError
from tests.bench.service_worker import LeftBehindError, working

SHORT = (
    *("--requests", "6", "--workers", "2", "--kills", "4", "--pauses", "1", "--restarts", "1"),
    *("--api-kills", "0", "--sample", "small", "--search-s", "0.4", "--lease-s", "2"),
)
ASKED = ("A", "B")


# The whole, in short


@pytest.fixture(scope="module", params=KINDS)
def row(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What came of a short run; it ends with an error where a request is lost, doubled or orphaned."""
    file = tmp_path_factory.mktemp("chaos") / "chaos.json"
    try:
        main(["chaos", *SHORT, "--databases", request.param, "--json", str(file)])
    except NoServerError as error:
        without_server(error)
    (found,) = json.loads(file.read_text(encoding="utf-8"))["rows"]
    assert isinstance(found, dict)
    return found


def test_every_deed_was_done_and_every_request_finished_all_the_same(row: dict[str, Any]) -> None:
    assert all(row["deeds"][deed] >= 1 for deed in Deed)
    assert row["kills"] == row["value"] == sum(row["deeds"][deed] for deed in KILLS)
    assert row["statuses"] == {"finished": row["requests"]}
    assert row["requests"] >= 6
    assert row["restarts"] == (1 if row["database"] == POSTGRESQL else 0)


def test_every_deed_that_counts_made_an_attempt_more(row: dict[str, Any]) -> None:
    assert row["retried"] >= sum(row["deeds"].values())
    assert row["attempts"] == row["requests"] + row["retried"]


def test_the_row_has_a_line_of_the_table(row: dict[str, Any]) -> None:
    (table,) = chaos.tables([row])
    ((name, *figures),) = table.lines
    assert name == f"{row['database']}, seed 0, 2 workers"
    assert len(figures) + 1 == len(table.headings)
    assert figures[0] == figures[1] == str(row["requests"])


# What must hold of requests


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with two requests that finished, one at its second attempt."""
    path = tmp_path_factory.mktemp("finished") / "runwright.db"
    url = database_url(f"sqlite:///{path}")
    upgrade(url)
    with closing(Store(url)) as store:
        with store.writing(Actor(ANN.name)) as work:
            plants.create(work, ANN.plant or "", QUEUE.plant)
        enqueue(store, *ASKED)
        lost = claimed(store)
        with store.writing(as_worker(lost)) as work:
            assert claims.crashed(work, lost, "the child was lost")
        for worker in ("w-2", "w-3"):
            held = claimed(store, worker)
            with store.writing(as_worker(held)) as work:
                assert finish(work, held)
    return path


@pytest.fixture
def engine(finished: Path, tmp_path: Path) -> Iterator[Engine]:
    """The same for a test of its own."""
    path = tmp_path / "runwright.db"
    shutil.copyfile(finished, path)
    with engine_of(database_url(f"sqlite:///{path}")) as engine:
        yield engine


def _pk(connection: Connection, id: str) -> int:
    return int(connection.execute(select(REQUESTS.c.pk).where(REQUESTS.c.id == id)).scalar_one())


def _happened(connection: Connection, id: str, kind: EventKind) -> None:
    """One event more, counted."""
    pk = _pk(connection, id)
    number = connection.execute(
        update(REQUESTS)
        .where(REQUESTS.c.pk == pk)
        .values(event_number=REQUESTS.c.event_number + 1)
        .returning(REQUESTS.c.event_number)
    ).scalar_one()
    told = {"request_pk": pk, "number": number, "at": datetime.now(UTC), "kind": kind, "told": ""}
    connection.execute(insert(EVENTS).values(told))


def _another_sequence(connection: Connection) -> None:
    """A sequence like the first one, which no request has as its result."""
    ours = AUDIT.c.resource == "sequences"
    kept = keyed(connection, SEQUENCES, select(SEQUENCES))[0]
    told = keyed(connection, AUDIT, select(AUDIT).where(ours))[0]
    connection.execute(insert(SEQUENCES).values({**kept, "pk": 999, "id": "S-999"}))
    connection.execute(insert(AUDIT).values({**told, "pk": 999, "key": "S-999"}))


def _broken(engine: Engine, words: str, asked: Sequence[str] = ASKED) -> None:
    with pytest.raises(BrokenQueueError, match=words):
        chaos_checks.ends(engine, asked)


def test_requests_that_ended_once_are_as_they_must_be(engine: Engine) -> None:
    found = chaos_checks.ends(engine, ASKED)
    assert found.statuses == {RequestStatus.FINISHED: 2}
    assert (found.attempts, found.retried) == (3, 1)
    assert found.worked_s >= 0
    assert chaos_checks.over(engine) == 2


def test_a_doubled_result_is_found(engine: Engine) -> None:
    with engine.begin() as connection:
        _another_sequence(connection)
        _happened(connection, "A", EventKind.FINISHED)
    _broken(engine, "request A ended finished, finished")


def test_a_result_that_two_requests_share_is_found(engine: Engine) -> None:
    with engine.begin() as connection:
        result = connection.execute(select(REQUESTS.c.result).where(REQUESTS.c.id == "A")).scalar_one()
        connection.execute(update(REQUESTS).where(REQUESTS.c.id == "B").values(result=result))
    _broken(engine, "sequences are not those of the results, each once")


def test_a_request_that_is_lost_or_that_nobody_asked_for_is_found(engine: Engine) -> None:
    _broken(engine, "requests are not those that were asked for", (*ASKED, "C"))
    _broken(engine, "requests are not those that were asked for", ("A",))


def test_an_orphaned_sequence_is_found(engine: Engine) -> None:
    with engine.begin() as connection:
        _another_sequence(connection)
    _broken(engine, "sequences are not those of the results, each once")


def test_a_sequence_of_a_result_that_is_not_there_is_found(engine: Engine) -> None:
    with engine.begin() as connection:
        first = connection.execute(select(SEQUENCES.c.pk)).scalars().first()
        connection.execute(delete(SEQUENCES).where(SEQUENCES.c.pk == first))
    _broken(engine, "sequences are not those of the results, each once")


def test_a_sequence_that_the_audit_tells_of_twice_is_found(engine: Engine) -> None:
    with engine.begin() as connection:
        ours = AUDIT.c.resource == "sequences"
        told = keyed(connection, AUDIT, select(AUDIT).where(ours))[0]
        connection.execute(insert(AUDIT).values({**told, "pk": 999}))
    _broken(engine, "the audit does not tell of each sequence once")


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (EventKind.FINISHED, "request A ended finished, finished"),
        (EventKind.CANCELLED, "request A ended finished, cancelled"),
        (EventKind.RETRIED, "request A went on behind its end: .*, finished, retried"),
        (EventKind.STARTED, "request A went on behind its end: .*, finished, started"),
    ],
)
def test_a_second_end_and_what_comes_behind_an_end_are_found(
    engine: Engine, kind: EventKind, words: str
) -> None:
    with engine.begin() as connection:
        _happened(connection, "A", kind)
    _broken(engine, words)


def test_an_event_that_is_missing_is_found(engine: Engine) -> None:
    with engine.begin() as connection:
        connection.execute(
            delete(EVENTS).where(EVENTS.c.request_pk == _pk(connection, "A"), EVENTS.c.number == 2)
        )
    _broken(engine, "request A misses events")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"status": RequestStatus.QUEUED}, "request A is queued"),
        ({"attempt": 7}, "request A began otherwise than it counts"),
        ({"result": None}, "request A, finished: false"),
        ({"event_number": 9}, "request A counts events that are not there"),
    ],
)
def test_a_row_that_does_not_agree_with_its_events_is_found(
    engine: Engine, change: dict[str, Any], words: str
) -> None:
    with engine.begin() as connection:
        connection.execute(update(REQUESTS).where(REQUESTS.c.id == "A").values(change))
    _broken(engine, words)


# What is done


def _deeds(kills: int = 20, pauses: int = 2, requests: int = 50) -> Deeds:
    return Deeds.of(kills, pauses, requests, random.Random(7))


def test_every_kind_of_kill_has_its_share_and_one_at_least() -> None:
    assert _deeds(100, 6).left == {
        **{Deed.CHILD: 56, Deed.EARLY: 12, Deed.WRITING: 12, Deed.WORKER: 20},
        Deed.PAUSE: 6,
    }
    assert _deeds(1, 0).left.total() == len(KILLS)


def test_deeds_are_drawn_until_none_is_left() -> None:
    deeds = _deeds()
    drawn = [deed for deed in (deeds.drawn(0) for _ in range(1000)) if deed is not None]
    assert Counter(drawn) == _deeds().left
    was_enough_before = deeds.is_enough
    for deed in drawn:
        deeds.hit(deed)
    assert (was_enough_before, deeds.is_enough) == (False, True)
    assert deeds.done == _deeds().left


def test_a_deed_that_missed_is_drawn_again() -> None:
    deeds = _deeds(1, 0, requests=1)
    first = deeds.drawn(0)
    assert first is not None
    deeds.missed(first)
    assert deeds.left == _deeds(1, 0).left
    assert deeds.misses == {first: 1}
    assert not deeds.done.total()


def test_as_many_requests_as_deeds_left_are_all_hit() -> None:
    deeds = _deeds(8, 2, requests=100)
    left = deeds.left.total()
    assert all(deeds.drawn(100 - left + over) is not None for over in range(left))
    assert deeds.drawn(99) is None


def test_what_was_not_drawn_is_not_counted() -> None:
    with pytest.raises(ValueError, match="pause was not drawn"):
        _deeds().hit(Deed.PAUSE)


# What counts

ATTEMPT, HIT_S = 2, 100.0
LOOKED_S = HIT_S + SETTLED_S
CLAIMED_AT = datetime(2027, 3, 1, 6, tzinfo=UTC)
LOST = {"kind": EventKind.RETRIED, "told": "the worker was lost: w1-7-abc"}
KILLED = {"kind": EventKind.RETRIED, "told": "the child was ended by SIGKILL"}
FINISHED = {"kind": EventKind.FINISHED, "told": ""}


def _event(kind: EventKind) -> dict[str, Any]:
    return {"kind": kind, "told": ""}


BEGUN = (
    *(_event(EventKind.QUEUED), _event(EventKind.STARTED), _event(EventKind.RETRIED)),
    _event(EventKind.STARTED),
)
"""Events of a request at its second attempt."""


def _row(**other: Any) -> dict[str, Any]:
    """A request that was claimed and of which nothing was heard since."""
    return {
        "status": RequestStatus.RUNNING,
        "attempt": ATTEMPT,
        "progress": None,
        "started_at": CLAIMED_AT,
        "lease_until": CLAIMED_AT + timedelta(seconds=3, microseconds=40),
        **other,
    }


class Case:
    """A deed, and what the database tells of it in the end."""

    def __init__(self, deed: Deed) -> None:
        self.deeds = Deeds(Counter({deed: 1}), 1, random.Random(1))
        assert self.deeds.drawn(0) is deed
        self.proofs = Proofs(self.deeds, 3.0)
        self.hit = Hit(deed, "A", ATTEMPT, HIT_S)

    def verdict(self, *behind: dict[str, Any], at_s: float = LOOKED_S, **row: Any) -> bool | None:
        return self.proofs.verdict(self.hit, _row(**row), (*BEGUN, *behind), at_s)


@pytest.mark.parametrize("deed", [Deed.WRITING, Deed.WORKER, Deed.PAUSE])
def test_a_worker_was_hit_where_its_attempt_was_lost(deed: Deed) -> None:
    case = Case(deed)
    assert case.verdict() is None
    assert case.verdict(FINISHED) is False
    assert case.verdict(KILLED) is False
    assert case.verdict(LOST, _event(EventKind.STARTED), FINISHED) is True


def test_a_child_was_hit_where_the_attempt_was_lost_with_it() -> None:
    case = Case(Deed.CHILD)
    assert case.verdict(FINISHED) is False
    assert case.verdict(LOST) is False
    assert case.verdict(KILLED) is True


def test_what_an_attempt_before_it_came_to_is_no_proof() -> None:
    early = Hit(Deed.WORKER, "A", 1, HIT_S)
    finished_first = (_event(EventKind.QUEUED), _event(EventKind.STARTED), FINISHED, LOST)
    assert Case(Deed.WORKER).proofs.verdict(early, _row(), finished_first, LOOKED_S) is False


def test_a_lease_that_was_never_renewed_proves_a_hit_before_the_first_heartbeat() -> None:
    case = Case(Deed.EARLY)
    assert case.verdict() is None
    assert case.verdict(LOST) is True


@pytest.mark.parametrize(
    "renewed",
    [
        {"lease_until": CLAIMED_AT + timedelta(seconds=3.25)},
        {"progress": "so far"},
    ],
)
def test_a_heartbeat_that_was_written_disproves_it(renewed: dict[str, Any]) -> None:
    case = Case(Deed.EARLY)
    assert case.verdict() is None
    assert case.verdict(**renewed) is False


def test_a_look_at_once_proves_nothing_as_a_heartbeat_may_be_under_way() -> None:
    case = Case(Deed.EARLY)
    assert case.verdict(at_s=HIT_S + 0.01) is None
    assert case.verdict(LOST) is False


def test_a_row_that_is_another_attempts_by_now_proves_nothing() -> None:
    case = Case(Deed.EARLY)
    assert case.verdict(status=RequestStatus.QUEUED, lease_until=None) is None
    assert case.verdict(attempt=ATTEMPT + 1) is None
    assert case.verdict(LOST) is False


def test_proofs_are_read_from_the_database_and_counted_once(engine: Engine) -> None:
    deeds = Deeds(Counter({Deed.CHILD: 1, Deed.WORKER: 1}), 2, random.Random(1))
    assert {deeds.drawn(2), deeds.drawn(2)} == {Deed.CHILD, Deed.WORKER}
    proofs = Proofs(deeds, LEASE_S)
    proofs.add(Hit(Deed.CHILD, "A", 1, HIT_S))
    proofs.add(Hit(Deed.WORKER, "A", 2, HIT_S))
    for _ in range(2):
        proofs.look(engine, LOOKED_S)
    assert not proofs.are_open
    assert (deeds.done, deeds.misses) == ({Deed.CHILD: 1}, {Deed.WORKER: 1})


# Processes

PARENT = "import subprocess, sys, time; subprocess.Popen(['sleep', '60']); time.sleep(60)"


def test_what_outlives_a_killed_worker_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service_worker, "GONE_WITHIN_S", 0.1)
    url = database_url(f"sqlite:///{tmp_path / 'runwright.db'}")
    worker = working(url, "w", tmp_path / "log", {}, (sys.executable, "-c", PARENT))
    until_s = time.monotonic() + 60
    while not (below := [pid for pid, _ in descendants(worker.pid)]):
        assert time.monotonic() < until_s
        time.sleep(0.01)
    try:
        with pytest.raises(LeftBehindError, match=str(below[0])):
            worker.kill()
    finally:
        send(below[0], signal.SIGKILL)


def test_a_worker_that_ends_instead_of_getting_ready_says_why(tmp_path: Path) -> None:
    url = database_url(f"sqlite:///{tmp_path / 'runwright.db'}")
    worker = working(url, "w", tmp_path / "log", {}, (sys.executable, "-c", "raise SystemExit('no room')"))
    with pytest.raises(RuntimeError, match="a worker did not get ready: no room"):
        worker.wait_until_ready()
    worker.close()
