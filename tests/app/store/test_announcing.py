"""What has happened is told to the webhooks that want to hear of it, or nothing has happened."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import Connection, event, func, select

from app.contracts.webhooks import DeliveryStatus, EventType, Webhook
from app.store import announcing, webhooks
from app.store.announcing import DELIVERIES, MESSAGES, announce
from app.store.listing import Query
from app.store.store import Actor, Store
from tests.app.store.things import ANN, ELSEWHERE, MIS

STARTED, ACCEPTED = EventType.RUN_STARTED, EventType.JOB_ACCEPTED


def webhook(id: str = "W-1", *types: EventType, **other: Any) -> Webhook:
    """A receiver; without types it wants to hear of accepted jobs."""
    fields = {
        "id": id,
        "name": f"name of {id}",
        "url": "https://mis.example.com/",
        "types": types or (ACCEPTED,),
    }
    return Webhook.model_validate({**fields, **other})


def with_webhooks(store: Store, *made: Webhook, actor: Actor = ANN) -> None:
    with store.writing(actor) as work:
        for one in made:
            webhooks.create(work, one, "whsec_c2VjcmV0")


def told(store: Store, id: str = "W-1", plant: str = "here") -> list[dict[str, Any]]:
    """Messages to a webhook, the oldest first."""
    with store.reading(plant) as view:
        found = webhooks.deliveries(view, id, None, Query()).items
        return [json.loads(webhooks.delivery(view, id, one.id).body) for one in reversed(found)]


@pytest.fixture
def statements(store: Store) -> Iterator[list[str]]:
    """Every statement that the database gets."""
    seen: list[str] = []

    def note(_connection: Connection, _cursor: object, statement: str, *_: object) -> None:
        seen.append(statement)

    event.listen(store.engine, "before_cursor_execute", note)
    yield seen
    event.remove(store.engine, "before_cursor_execute", note)


def test_a_webhook_hears_of_what_it_wants_to_hear_of(store: Store) -> None:
    with_webhooks(store, webhook("W-1"), webhook("W-2", STARTED, ACCEPTED), webhook("W-3", STARTED))
    with store.writing(MIS) as work:
        announce(work, ACCEPTED, [{"job": "J-1"}, {"job": "J-2"}])
        announce(work, "run.started", [{"run": "A-1"}])
    first, second = told(store, "W-1")
    at = work.at.astimezone(UTC).isoformat().replace("+00:00", "Z")
    assert first == {"type": "job.accepted", "timestamp": at, "data": {"job": "J-1"}}
    assert second["data"] == {"job": "J-2"}
    assert [one["data"] for one in told(store, "W-2")] == [{"job": "J-1"}, {"job": "J-2"}, {"run": "A-1"}]
    assert [one["type"] for one in told(store, "W-3")] == ["run.started"]


def test_a_message_is_one_whoever_gets_it(store: Store) -> None:
    with_webhooks(store, webhook("W-1"), webhook("W-2"))
    with store.writing(MIS) as work:
        announce(work, ACCEPTED, [{"job": "J-1"}])
    with store.reading("here") as view:
        (one,) = webhooks.deliveries(view, "W-1", None, Query()).items
        (other,) = webhooks.deliveries(view, "W-2", None, Query()).items
    assert one.message == other.message
    assert "." not in one.message
    assert one.id != other.id
    assert (one.status, one.attempts, one.due_at) == (DeliveryStatus.PENDING, 0, work.at)


def test_moments_and_decimals_are_told_as_answers_tell_them(store: Store) -> None:
    with_webhooks(store, webhook())
    there = datetime(2027, 3, 1, 6, tzinfo=timezone(timedelta(hours=1)))
    with store.writing(MIS) as work:
        announce(work, ACCEPTED, [{"due": there, "m": Decimal("12.50"), "n": Decimal(3), "word": STARTED}])
    (message,) = told(store)
    assert message["data"] == {"due": "2027-03-01T05:00:00Z", "m": 12.5, "n": 3, "word": "run.started"}


def test_what_is_undone_was_never_told(store: Store) -> None:
    with_webhooks(store, webhook())
    with suppress(RuntimeError), store.writing(MIS) as work:
        announce(work, ACCEPTED, [{"job": "J-1"}])
        raise RuntimeError
    assert told(store) == []
    with store.reading() as view:
        assert view.connection.execute(select(func.count()).select_from(MESSAGES)).scalar_one() == 0


def test_a_plant_hears_nothing_of_another(store: Store) -> None:
    with_webhooks(store, webhook())
    with_webhooks(store, webhook(), actor=ELSEWHERE)
    with store.writing(MIS) as work:
        announce(work, ACCEPTED, [{"job": "J-1"}])
    assert len(told(store)) == 1
    assert told(store, plant="elsewhere") == []


def test_a_webhook_that_is_off_hears_nothing(store: Store) -> None:
    with_webhooks(store, webhook())
    for active, heard in ((False, 0), (True, 1)):
        with store.writing(ANN) as work:
            version = webhooks.read(work, "W-1").version
            webhooks.replace(work, webhook(active=active), version)
        with store.writing(MIS) as work:
            announce(work, ACCEPTED, [{"job": "J-1"}])
        assert len(told(store)) == heard


def test_what_nobody_wants_to_hear_of_is_looked_up_once(store: Store, statements: list[str]) -> None:
    with_webhooks(store, webhook("W-1", STARTED))
    for looked_up in (1, 0):
        with store.writing(MIS) as work:
            assert work.plant
            statements.clear()
            announce(work, ACCEPTED, [{"job": "J-1"}])
            assert not announcing.wants(work, ACCEPTED, EventType.JOB_REFUSED)
            assert len(statements) == looked_up
    with store.writing(MIS) as work:
        announce(work, STARTED, [{"run": "A-1"}])
    assert len(told(store)) == 1


def test_what_another_process_changes_is_known_half_a_second_later(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    ticks = 100.0
    monkeypatch.setattr(announcing, "monotonic", lambda: ticks)
    other = Store(store.url)

    def accept(job: str) -> None:
        with store.writing(MIS) as work:
            announce(work, ACCEPTED, [{"job": job}])

    accept("J-1")
    with_webhooks(other, webhook())
    ticks += announcing.REMEMBERED_S
    accept("J-2")
    assert [one["data"] for one in told(store)] == [{"job": "J-2"}]
    with other.writing(ANN) as work:
        webhooks.remove(work, "W-1", 1)
    accept("J-3")
    with store.reading() as view:
        assert view.connection.execute(select(func.count()).select_from(DELIVERIES)).scalar_one() == 0
    other.close()
