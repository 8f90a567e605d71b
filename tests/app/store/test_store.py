"""Several write at once, and nothing is lost."""

from __future__ import annotations

import threading
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.contracts.stored import Done, Outcome
from app.contracts.tooling_items import PostedDie
from app.errors import BadInput, Unavailable
from app.store import idempotency, plants, records
from app.store.engine import Connections, is_sqlite
from app.store.idempotency import GivenAnswer
from app.store.kinds import DIES, JOBS, ROLLS
from app.store.listing import Query
from app.store.store import Store
from app.store.turns import Turns
from tests.app.store.things import MIS, job, roll

WRITERS, TURNS = 4, 15
DIE = PostedDie(id="D-1", repeat_mm=Decimal(305), across=3, around=3, label_width_mm=Decimal(100))


def together(act: Callable[[int], None], count: int = WRITERS) -> None:
    """Let several threads act at once; the first of their exceptions is raised."""
    failed: list[BaseException] = []
    start = threading.Barrier(count)

    def run(number: int) -> None:
        start.wait()
        try:
            act(number)
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failed:
        raise failed[0]


def test_four_writers_that_read_and_then_write_lose_nothing(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll(length_m=1)])

    def lengthen(_: int) -> None:
        for _ in range(TURNS):
            with store.writing(MIS) as work:
                work.hold("rolls", ["R-1"])
                found = records.require(work, ROLLS, "R-1")
                longer = found.item.model_copy(update={"length_m": found.item.length_m + 1})
                records.replace(work, ROLLS, longer, found.version)

    together(lengthen)
    with store.reading("here") as view:
        found = records.require(view, ROLLS, "R-1")
    assert found.item.length_m == 1 + WRITERS * TURNS
    assert found.version == 1 + WRITERS * TURNS


def test_the_same_new_job_posted_by_four_at_once_is_made_once(store: Store) -> None:
    outcomes: list[Outcome] = []

    def post(number: int) -> None:
        for turn in range(TURNS):
            sent = [job(f"J-{turn}", revision=1)]
            if number % 2:
                sent.append(job(f"J-{number}-{turn}", revision=1))
            with store.writing(MIS) as work:
                outcomes.extend(records.upsert(work, JOBS, sent)[:1])

    together(post)
    done = [outcome.done for outcome in outcomes]
    assert done.count(Done.CREATED) == TURNS
    assert done.count(Done.UNCHANGED) == (WRITERS - 1) * TURNS


def test_stock_and_tools_written_at_once_never_wait_for_each_other_crosswise(store: Store) -> None:
    """Each change counts the set-up on, so that the first of two that write in another order would hold what
    the second needs and need what it holds.
    """
    with store.writing(MIS) as work:
        records.upsert(work, DIES, [DIE])
        records.upsert(work, ROLLS, [roll()])
        before = plants.setup_version(work)

    def write(number: int) -> None:
        for turn in range(1, TURNS):
            copies = 100 * number + turn
            with store.writing(MIS) as work:
                if number % 2:
                    records.upsert(work, DIES, [DIE.model_copy(update={"copies": copies})])
                records.upsert(work, ROLLS, [roll(length_m=copies)])
                if not number % 2:
                    records.upsert(work, DIES, [DIE.model_copy(update={"copies": copies})])

    together(write)
    with store.reading("here") as view:
        die, found = records.require(view, DIES, "D-1"), records.require(view, ROLLS, "R-1")
        assert plants.setup_version(view) == before + WRITERS * (TURNS - 1)
    assert die.item.copies == found.item.length_m
    assert die.version == found.version == 1 + WRITERS * (TURNS - 1)


def test_a_request_that_comes_twice_at_once_is_done_once(store: Store) -> None:
    done: list[int] = []

    def ask(number: int) -> None:
        with store.writing(MIS) as work:
            if idempotency.given_or_awaited(work, "MIS", "k") is None:
                done.append(number)
                idempotency.give(work, "MIS", "k", GivenAnswer("POST /", "", 201, (), b""))

    together(ask)
    assert len(done) == 1


def test_everything_of_a_transaction_was_written_at_one_moment(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll("R-1")])
        records.upsert(work, JOBS, [job()])
        moments = {
            records.require(work, ROLLS, "R-1").updated_at,
            records.require(work, JOBS, "J-1").updated_at,
        }
        assert moments == {work.at}


def test_turns_are_taken_in_the_order_of_asking() -> None:
    turns = Turns()
    asked, served = threading.Semaphore(0), list[int]()

    def wait(number: int) -> None:
        with turns.turn():
            served.append(number)

    threads = [threading.Thread(target=wait, args=(number,)) for number in range(8)]
    waiting: Any = turns._waiting  # noqa: SLF001
    with turns.turn():
        for number, thread in enumerate(threads):
            thread.start()
            while len(waiting) <= number:
                asked.acquire(timeout=0.001)
    for thread in threads:
        thread.join()
    assert served == list(range(8))


def test_a_turn_is_handed_on_after_an_exception() -> None:
    turns = Turns()
    with pytest.raises(RuntimeError), turns.turn():
        raise RuntimeError
    with turns.turn():
        pass


def test_a_database_that_others_keep_is_told_in_our_words(tmp_path: Path, migrated_sqlite: Path) -> None:
    impatient = Connections(busy_wait_s=0.01)
    path = tmp_path / "busy.db"
    path.write_bytes(migrated_sqlite.read_bytes())
    first, second = (Store(f"sqlite:///{path}", connections=impatient) for _ in range(2))
    with first.writing(MIS), pytest.raises(Unavailable, match="locked"), second.writing(MIS):
        pass
    with second.writing(MIS):
        pass
    first.close()
    second.close()


def test_a_text_that_postgresql_cannot_keep_is_bad_input(store: Store) -> None:
    if is_sqlite(store.engine):
        return
    with pytest.raises(BadInput, match="NUL"), store.writing(MIS) as work:
        records.upsert(work, JOBS, [job(customer="Ann\x00")])
    with pytest.raises(BadInput, match="NUL"), store.reading("here") as view:
        records.listed(view, JOBS, Query(prefix="\x00"))
