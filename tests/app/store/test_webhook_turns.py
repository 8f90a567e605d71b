"""A webhook is one deliverer's at a time, and whoever was taken for lost writes nothing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Connection, event, func, select, update

from app.contracts.webhooks import DeliveryStatus, EventType, WebhookDelivery
from app.store import webhooks
from app.store.announcing import DELIVERIES, MESSAGES, WEBHOOKS, announce
from app.store.engine import is_sqlite
from app.store.listing import Query
from app.store.store import Actor, Store, Work
from app.store.webhook_turns import Tried, Turn, actor, due, end_turn, switch_off, take_turn, tell
from tests.app.store.test_announcing import webhook, with_webhooks
from tests.app.store.things import ANN, MIS

LEASE_S, RUN_OUT = 60.0, -1.0
DONE = Tried(DeliveryStatus.DELIVERED, 200, "", 5)
FAILED = Tried(DeliveryStatus.PENDING, 500, "no", 5, again_s=3600.0)
SOMEBODY = Actor("deliverer x")


@pytest.fixture
def store(store_today: Store) -> Store:
    return store_today


def accepted(store: Store, *jobs: str) -> None:
    with store.writing(MIS) as work:
        announce(work, "job.accepted", [{"job": job} for job in jobs])


def turn_of(store: Store, worker: str = "one", lease_s: float = LEASE_S, **how: bool) -> Turn | None:
    with store.writing(SOMEBODY) as work:
        return take_turn(work, worker, lease_s, **how)


def taken(store: Store, worker: str = "one", lease_s: float = LEASE_S, **how: bool) -> Turn:
    found = turn_of(store, worker, lease_s, **how)
    assert found is not None
    return found


def told(store: Store, turn: Turn, tried: Tried = DONE) -> bool:
    """Whether a turn goes on once it has told what came of its first delivery."""
    with store.writing(actor(turn)) as work:
        first, *_ = due(work, turn, 1)
        return tell(work, turn, first, tried, LEASE_S)


def ended(store: Store, turn: Turn) -> None:
    with store.writing(actor(turn)) as work:
        end_turn(work, turn)


def stood(store: Store, id: str = "W-1") -> list[WebhookDelivery]:
    """Deliveries as they stand, the oldest first."""
    with store.reading("here") as view:
        return list(reversed(webhooks.deliveries(view, id, None, Query()).items))


def test_a_webhook_is_one_deliverers_at_a_time(store: Store) -> None:
    with_webhooks(store, webhook())
    assert turn_of(store) is None
    accepted(store, "J-1", "J-2")
    turn = taken(store)
    assert (turn.plant, turn.webhook, turn.secrets) == ("here", "W-1", ("whsec_c2VjcmV0",))
    assert turn_of(store, "two") is None
    with store.writing(actor(turn)) as work:
        assert [one.attempts for one in due(work, turn, 10)] == [0, 0]
        assert len(due(work, turn, 1)) == 1
    assert told(store, turn)
    ended(store, turn)
    assert taken(store, "two").number == turn.number + 1
    assert [one.status for one in stood(store)] == [DeliveryStatus.DELIVERED, DeliveryStatus.PENDING]


def test_whoever_was_taken_for_lost_writes_nothing(store: Store) -> None:
    with_webhooks(store, webhook())
    accepted(store, "J-1")
    lost = taken(store, lease_s=RUN_OUT)
    now = taken(store, "two")
    before = stood(store)
    assert not told(store, lost)
    ended(store, lost)
    with store.writing(actor(lost)) as work:
        switch_off(work, lost, "it is lost")
    assert stood(store) == before
    assert turn_of(store, "three") is None
    assert told(store, now)


def test_the_same_deliverer_may_be_lost_to_itself(store: Store) -> None:
    with_webhooks(store, webhook())
    accepted(store, "J-1")
    lost, now = taken(store, lease_s=RUN_OUT), taken(store)
    assert not told(store, lost)
    assert told(store, now)


def test_what_failed_waits_and_its_webhook_comes_last(store: Store) -> None:
    with_webhooks(store, *(webhook(id) for id in ("W-1", "W-2", "W-3")))
    accepted(store, "J-1", "J-2")
    order = []
    for tried in (FAILED, DONE, DONE, DONE, DONE):
        turn = taken(store)
        order.append((turn.webhook, turn.fails))
        told(store, turn, tried)
        ended(store, turn)
    assert order == [("W-1", False), ("W-2", False), ("W-3", False), ("W-2", False), ("W-3", False)]
    assert turn_of(store, only_well=True) is None
    last = taken(store)
    assert (last.webhook, last.fails) == ("W-1", True)
    with store.writing(actor(last)) as work:
        assert len(due(work, last, 10)) == 1
    assert told(store, last)
    ended(store, last)
    assert turn_of(store) is None
    failed, done = stood(store)
    assert (failed.status, failed.attempts, failed.answered, failed.told) == ("pending", 1, 500, "no")
    assert done.status is DeliveryStatus.DELIVERED
    with store.reading("here") as view:
        assert webhooks.detail(view, "W-1").failures == 0


def test_a_webhook_that_was_changed_is_read_anew(store: Store) -> None:
    with_webhooks(store, webhook())
    accepted(store, "J-1", "J-2")
    turn = taken(store)
    with store.writing(ANN) as work:
        webhooks.change_secret(work, "W-1", "whsec_bmV3", datetime.now(UTC) + timedelta(hours=1))
    assert not told(store, turn)
    ended(store, turn)
    assert [one.status for one in stood(store)] == [DeliveryStatus.DELIVERED, DeliveryStatus.PENDING]
    assert taken(store).secrets == ("whsec_bmV3", "whsec_c2VjcmV0")


def test_a_webhook_that_is_off_or_removed_is_nobodys(store: Store) -> None:
    with_webhooks(store, webhook("W-1"), webhook("W-2"))
    accepted(store, "J-1")
    first, second = taken(store), taken(store)
    with store.writing(ANN) as work:
        webhooks.remove(work, "W-1", 1)
    with store.writing(actor(first)) as work:
        assert due(work, first, 1) == []
        end_turn(work, first)
    with store.writing(actor(second)) as work:
        switch_off(work, second, "its receiver is gone")
        end_turn(work, second)
        assert webhooks.read(work, "W-2").switched_off == "its receiver is gone"
        assert not webhooks.read(work, "W-2").item.active
    assert turn_of(store) is None
    assert [one.status for one in stood(store, "W-2")] == [DeliveryStatus.PENDING]


def counts(work: Work) -> tuple[int, int]:
    """Deliveries and messages."""
    tables = (DELIVERIES, MESSAGES)
    of_deliveries, of_messages = (
        work.connection.execute(select(func.count()).select_from(table)).scalar_one() for table in tables
    )
    return of_deliveries, of_messages


def test_what_was_delivered_is_forgotten_block_by_block_and_nothing_else(store: Store) -> None:
    with_webhooks(store, webhook("W-1"), webhook("W-2"))
    accepted(store, *(f"J-{number}" for number in range(5)))
    later = datetime.now(UTC) + timedelta(days=1)
    with store.writing(SOMEBODY) as work:
        assert webhooks.forget_before(work, later, 100) == 0
        delivered = update(DELIVERIES).values(status=DeliveryStatus.DELIVERED, tried_at=work.at)
        of_first = select(WEBHOOKS.c.pk).where(WEBHOOKS.c.id == "W-1").scalar_subquery()
        work.connection.execute(delivered.where(DELIVERIES.c.webhook_pk == of_first))
        assert webhooks.forget_before(work, work.at, 100) == 0
        assert webhooks.forget_before(work, later, 3) == 3
        assert webhooks.forget_before(work, later, 3) == 2
        assert counts(work) == (5, 5)
        work.connection.execute(update(DELIVERIES).values(status=DeliveryStatus.DEAD, tried_at=work.at))
        assert webhooks.forget_before(work, later, 100) == 0
        work.connection.execute(delivered)
        assert webhooks.forget_before(work, later, 100) == 10
        assert counts(work) == (0, 0)


def plan(store: Store, act: Callable[[Work], Any], table: str) -> str:
    """How the database finds its rows; PostgreSQL may not read whole tables, as it would of few rows."""
    found: list[str] = []

    def explain(connection: Connection, _cursor: object, statement: str, values: Any, *_: object) -> None:
        if table in statement:
            how = "EXPLAIN QUERY PLAN" if is_sqlite(connection) else "EXPLAIN"
            cursor = connection.connection.cursor()
            cursor.execute(f"{how} {statement}", values)
            found.append("\n".join(str(row) for row in cursor.fetchall()))

    with store.writing(SOMEBODY) as work:
        if not is_sqlite(work.connection):
            for way in ("seqscan", "bitmapscan"):
                work.connection.exec_driver_sql(f"SET LOCAL enable_{way} = off")
        event.listen(work.connection, "before_cursor_execute", explain)
        act(work)
    return found[0]


def test_what_is_due_is_found_by_the_index_of_what_is_pending(store: Store) -> None:
    with_webhooks(store, webhook())
    accepted(store, "J-1")
    turn = taken(store, lease_s=RUN_OUT)
    for act in (lambda work: take_turn(work, "two", LEASE_S), lambda work: due(work, turn, 20)):
        told = plan(store, act, "webhook_deliveries")
        assert "ix_webhook_deliveries_due" in told
        if "Index Cond" in told:  # PostgreSQL tells what it looks up by: the time too
            assert any("Index Cond" in line and "due_at" in line for line in told.split("\n"))
        else:
            assert "webhook_pk=? AND due_at<?" in told
    told = plan(store, lambda work: webhooks.forget_before(work, work.at, 5), "webhook_deliveries")
    assert "ix_webhook_deliveries_delivered" in told


def test_every_type_that_can_be_told_can_be_asked_for(store: Store) -> None:
    with_webhooks(store, webhook("W-1", *EventType))
    with store.writing(MIS) as work:
        for event_type in EventType:
            announce(work, event_type, [{}])
    assert {one.type for one in stood(store)} == {one.value for one in EventType}
