"""Workers that take requests at once: each request is one worker's, and ends once."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections import Counter
from pathlib import Path

import pytest
from sqlalchemy import select, text

from app.contracts.planning_requests import EventKind, RequestStatus
from app.errors import Unavailable
from app.store import claims, requests
from app.store.claims import Claim, Ended
from app.store.engine import Connections, is_sqlite
from app.store.store import Store, Work
from app.store.tables import Base
from tests.app.store.planning_requests import (
    LEASE_S,
    RUN_OUT,
    SUPERVISOR,
    as_worker,
    claimed,
    enqueue,
    finish,
)
from tests.app.store.test_store import together
from tests.app.store.things import ANN

WORKER = """
import sys
from app.contracts.planning_requests import RequestStatus
from app.store import claims
from app.store.claims import Ended
from app.store.store import Actor, Store

database, worker = sys.argv[1:]
store = Store(database)
sys.stdout.write("ready\\n")
sys.stdout.flush()
sys.stdin.readline()
while True:
    with store.writing(Actor(worker)) as work:
        claim = claims.claim(work, worker, 60)
    if claim is None:
        break
    with store.writing(Actor(worker, plant=claim.plant)) as work:
        assert claims.beat(work, claim, 60, None, None) is not None
    with store.writing(Actor(worker, plant=claim.plant)) as work:
        assert claims.finish(work, claim, Ended(RequestStatus.FINISHED))
    print(claim.id)
"""
"""Takes requests and ends them until none waits; it begins when it is told to."""


def test_two_processes_never_take_the_same_request(store: Store) -> None:
    ids = [f"R-{number}" for number in range(60)]
    enqueue(store, *ids)
    address = store.url.render_as_string(hide_password=False)
    workers = [
        subprocess.Popen(
            [sys.executable, "-c", WORKER, address, f"w-{number}"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[3],
        )
        for number in range(2)
    ]
    for worker in workers:
        assert worker.stdout is not None
        assert worker.stdout.readline() == "ready\n"
    for worker in workers:
        assert worker.stdin is not None
        worker.stdin.write("begin\n")
        worker.stdin.flush()
    done = [id for worker in workers for id in worker.communicate()[0].split()]
    assert [worker.returncode for worker in workers] == [0, 0]
    assert sorted(done) == sorted(ids)
    with store.reading("here") as view:
        for id in ids:
            shown = requests.read(view, id)
            assert (shown.status, shown.attempt) == (RequestStatus.FINISHED, 1)


def test_of_many_that_want_the_last_one_gets_it(store: Store) -> None:
    got: list[Claim] = []

    def take(number: int) -> None:
        with store.writing(SUPERVISOR) as work:
            claim = claims.claim(work, f"w-{number}", LEASE_S)
        if claim is not None:
            got.append(claim)

    for turn in range(5):
        enqueue(store, f"R-{turn}")
        together(take)
    assert [claim.id for claim in got] == [f"R-{turn}" for turn in range(5)]


def test_a_worker_that_comes_back_while_it_is_reaped_ends_it_or_loses_it(store: Store) -> None:
    """Whichever is first: then the other writes nothing."""
    ids = [f"R-{turn}" for turn in range(8)]
    ended: dict[str, bool] = {}
    for id in ids:
        enqueue(store, id)
        claim = claimed(store, lease_s=RUN_OUT)

        def act(number: int, claim: Claim = claim) -> None:
            if number == 0:
                with store.writing(as_worker(claim)) as work:
                    ended[claim.id] = finish(work, claim)
            else:
                with store.writing(SUPERVISOR) as work:
                    claims.reap(work)

        together(act, 3)
        if not ended[id]:
            again = claimed(store)
            assert (again.id, again.attempt) == (id, 2)
            with store.writing(as_worker(again)) as work:
                assert finish(work, again)
    with store.reading("here") as view:
        for id in ids:
            shown = requests.read(view, id)
            kinds = Counter(event.kind for event in requests.events_after(view, id, 0))
            assert shown.status is RequestStatus.FINISHED
            assert kinds[EventKind.FINISHED] == 1
            assert kinds[EventKind.RETRIED] == (not ended[id])
        sequences = Base.metadata.tables["sequences"]
        assert len(view.connection.execute(select(sequences.c.pk)).all()) == 3 * len(ids)


def test_one_that_is_cancelled_while_it_is_taken_is_cancelled_or_hears_of_it(store: Store) -> None:
    for turn in range(8):
        id = f"R-{turn}"
        enqueue(store, id)
        taken: list[Claim] = []

        def act(number: int, id: str = id, taken: list[Claim] = taken) -> None:
            if number == 0:
                with store.writing(ANN) as work:
                    requests.cancel(work, id)
                return
            with store.writing(SUPERVISOR) as work:
                claim = claims.claim(work, f"w-{number}", LEASE_S)
            if claim is not None:
                taken.append(claim)

        together(act, 2)
        if not taken:
            with store.reading("here") as view:
                assert requests.read(view, id).status is RequestStatus.CANCELLED
            continue
        with store.writing(as_worker(taken[0])) as work:
            heard = claims.beat(work, taken[0], LEASE_S, None, None)
            assert heard is not None
            assert heard.cancel_requested
            assert claims.finish(work, taken[0], Ended(RequestStatus.CANCELLED))


def test_a_request_that_somebody_holds_keeps_no_worker_from_the_next(store: Store) -> None:
    """On PostgreSQL rows that others hold are passed over; a SQLite file is anyway held as a whole."""
    if is_sqlite(store.engine):
        return
    enqueue(store, "R-1", "R-2")
    other = Store(store.url)
    with other.writing(ANN) as holding:
        requests.cancel(holding, "R-1")
        assert claimed(store).id == "R-2"
    other.close()


def test_a_lost_request_that_a_stopped_process_holds_is_reaped_once_the_server_lets_go(store: Store) -> None:
    if is_sqlite(store.engine):
        return
    enqueue(store, "R-1")
    claim = claimed(store, lease_s=RUN_OUT)
    stopped = Store(store.url, connections=Connections(rest_s=0.2))
    held, let_go = threading.Event(), threading.Event()

    def beat_and_rest(work: Work) -> None:
        assert claims.beat(work, claim, RUN_OUT, None, None) is not None
        held.set()
        let_go.wait()

    def stop() -> None:
        with pytest.raises(Unavailable), stopped.writing(as_worker(claim)) as work:
            beat_and_rest(work)

    thread = threading.Thread(target=stop)
    thread.start()
    held.wait()
    with store.writing(SUPERVISOR) as work:
        assert claims.reap(work) == 0
    with store.writing(ANN) as work:
        work.connection.execute(text("SELECT pk FROM planning_requests FOR UPDATE"))
    with store.writing(SUPERVISOR) as work:
        assert claims.reap(work) == 1
    let_go.set()
    thread.join()
    stopped.close()
