"""Every end of a planning request is told to webhooks once, with what came of it."""

from __future__ import annotations

from app.contracts.webhooks import EventType
from app.store import claims, requests
from app.store.store import Store
from tests.app.store.planning_requests import (
    FAILED,
    RUN_OUT,
    SUPERVISOR,
    as_worker,
    claimed,
    enqueue,
    finish,
)
from tests.app.store.test_announcing import told, webhook, with_webhooks
from tests.app.store.things import ANN, ELSEWHERE


def test_every_end_is_told_once(store: Store) -> None:
    with_webhooks(store, webhook("W-1", EventType.REQUEST_FINISHED))
    with_webhooks(store, webhook("W-1", EventType.REQUEST_FINISHED), actor=ELSEWHERE)
    enqueue(store, "R-1", "R-2", "R-3", "R-4", attempts=1)
    first = claimed(store)
    with store.writing(as_worker(first)) as work:
        assert finish(work, first)
        assert not finish(work, first)
        sequence = requests.read(work, "R-1").result
    second = claimed(store)
    with store.writing(as_worker(second)) as work:
        assert claims.finish(work, second, FAILED)
    claimed(store, lease_s=RUN_OUT)
    with store.writing(SUPERVISOR) as work:
        assert claims.reap(work) == 1
    with store.writing(ANN) as work:
        requests.cancel(work, "R-4")
    assert sequence is not None
    ends = [message["data"] for message in told(store)]
    assert ends == [
        {"request": "R-1", "name": "Monday", "status": "finished", "sequence": sequence.sequence},
        {"request": "R-2", "name": "Monday", "status": "failed", "sequence": None},
        {"request": "R-3", "name": "Monday", "status": "dead", "sequence": None},
        {"request": "R-4", "name": "Monday", "status": "cancelled", "sequence": None},
    ]
    assert told(store, plant="elsewhere") == []


def test_what_is_tried_again_has_not_ended(store: Store) -> None:
    with_webhooks(store, webhook("W-1", EventType.REQUEST_FINISHED))
    enqueue(store, "R-1")
    claimed(store, lease_s=RUN_OUT)
    with store.writing(SUPERVISOR) as work:
        claims.reap(work)
    handed_back = claimed(store)
    with store.writing(as_worker(handed_back)) as work:
        claims.hand_back(work, handed_back)
        requests.cancel(work, "R-1")
    assert [message["data"]["status"] for message in told(store)] == ["cancelled"]
