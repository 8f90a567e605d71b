"""Messages are delivered at least once, whatever a receiver does, and none because of another late."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import textwrap
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import Any, Self

import pytest
from sqlalchemy import URL, text
from standardwebhooks import Webhook as Verifier

from app.contracts.webhooks import DeliveryStatus, EventType, Webhook, WebhookDelivery
from app.errors import Unavailable
from app.services import webhooks as service
from app.store import webhook_turns, webhooks
from app.store.announcing import announce
from app.store.engine import database_url
from app.store.listing import Query
from app.store.store import Actor, Store
from app.store.wakeup import Wakeup
from app.webhook_targets import Targets, read_allowed
from app.worker import delivering
from app.worker.delivering import Deliverer
from app.worker.posting import Poster, Receiver
from tests.app.databases import migrated_postgresql, migrated_sqlite, postgresql
from tests.app.store.conftest import planted, planted_postgresql, planted_sqlite, store_today
from tests.app.worker.receivers import (
    Answer,
    in_turn,
    listening,
    raw,
    silent,
    status,
    unused_port,
    wait_until,
)

__all__ = [
    "migrated_postgresql",
    "migrated_sqlite",
    "planted",
    "planted_postgresql",
    "planted_sqlite",
    "postgresql",
    "store_today",
]

ROOT = Path(__file__).parents[3]
ANN, MIS = Actor("Ann", plant="here"), Actor("MIS", plant="here")
TIMEOUT_S = 0.3
"""Where a receiver never answers."""
PATIENT_S = 30.0
"""Where it does, however busy the machine is."""
ENDS_WITHIN_S = 60.0
"""On a busy machine; no thread of a test goes on in the next one."""
SOON = (0.01, 0.02)
"""Three attempts, without waiting long."""


@pytest.fixture
def store(store_today: Store) -> Store:
    """A store with two plants."""
    return store_today


@pytest.fixture(autouse=True)
def without_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """A receiver that failed is tried again as soon as the delivery is due."""
    monkeypatch.setattr(delivering, "REST_S", 0.001)
    monkeypatch.setattr(delivering, "LOOK_EVERY_S", 0.02)


def poster(*ports: int, timeout_s: float = PATIENT_S) -> Poster:
    allowed = tuple(read_allowed(f"127.0.0.1:{port}") for port in ports)
    return Poster(Targets(allowed, plain_http=True), timeout_s)


@dataclass
class AtOnce:
    """How many work on each receiver, and how many were most."""

    now: Counter[str] = field(default_factory=Counter)
    most: Counter[str] = field(default_factory=Counter)
    guard: Lock = field(default_factory=Lock)

    def more(self, url: str, by: int) -> None:
        with self.guard:
            self.now[url] += by
            self.most[url] = max(self.most[url], self.now[url])


class CountedReceiver(Receiver):
    """Counts for how long it is worked on."""

    def __init__(self, poster: Poster, url: str, at_once: AtOnce) -> None:
        super().__init__(poster, url)
        self._counted = url, at_once

    def __enter__(self) -> Self:
        url, at_once = self._counted
        at_once.more(url, 1)
        return super().__enter__()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        super().__exit__(kind, error, trace)
        url, at_once = self._counted
        at_once.more(url, -1)


class CountingPoster(Poster):
    """Knows how many post to each receiver at once."""

    def __init__(self, targets: Targets, timeout_s: float) -> None:
        super().__init__(targets, timeout_s)
        self.at_once = AtOnce()

    def receiver(self, url: str) -> Receiver:
        return CountedReceiver(self, url, self.at_once)


@contextmanager
def delivering_to(store: Store, *ports: int, **how: Any) -> Iterator[Deliverer]:
    """A deliverer at work."""
    how = {"back_off_s": SOON, "threads": 4, **how}
    timeout_s = how.pop("timeout_s", PATIENT_S)
    deliverer = Deliverer(store, how.pop("poster", None) or poster(*ports, timeout_s=timeout_s), **how)
    deliverer.start()
    try:
        yield deliverer
    finally:
        deliverer.stop(ENDS_WITHIN_S)


def with_webhook(store: Store, url: str, id: str = "W-1") -> str:
    """A webhook that wants to hear of begun runs; its secret."""
    secret = service.new_secret()
    webhook = Webhook(id=id, name=id, url=url, types=(EventType.RUN_STARTED,))
    with store.writing(ANN) as work:
        webhooks.create(work, webhook, secret)
    return secret


def started(store: Store, *runs: str) -> None:
    with store.writing(MIS) as work:
        announce(work, "run.started", [{"run": run} for run in runs])


def deliveries(store: Store, id: str = "W-1") -> list[WebhookDelivery]:
    """The oldest first."""
    with store.reading("here") as view:
        return list(reversed(webhooks.deliveries(view, id, None, Query()).items))


def all_are(store: Store, wanted: DeliveryStatus, id: str = "W-1") -> Callable[[], bool]:
    return lambda: {one.status for one in deliveries(store, id)} == {wanted}


def test_what_happens_is_delivered_signed(store: Store) -> None:
    with listening(status(204)) as there, delivering_to(store, there.port):
        secret = with_webhook(store, there.url)
        started(store, "A-1", "A-2", "A-3")
        received = there.wait_for(3)
        wait_until(all_are(store, DeliveryStatus.DELIVERED))
    assert sorted(one.data["run"] for one in received) == ["A-1", "A-2", "A-3"]
    for one in received:
        assert Verifier(secret).verify(one.body, one.headers)["type"] == "run.started"
    done = deliveries(store)
    assert sorted(one.headers["webhook-id"] for one in received) == sorted(one.message for one in done)
    assert {(one.attempts, one.answered, one.due_at) for one in done} == {(1, 204, None)}


def test_whoever_is_woken_need_not_look(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delivering, "LOOK_EVERY_S", 3600.0)
    wakeup = Wakeup(store.url)
    with listening(status(204)) as there:
        deliverer = Deliverer(store, poster(there.port))
        wakeup.start()
        deliverer.start(wakeup)
        with_webhook(store, there.url)
        started(store, "A-1")
        there.wait_for(1)
        deliverer.stop()
    wakeup.close()


TROUBLES: dict[str, Answer] = {
    "fails": status(500, body="out of order"),
    "sends on": status(302, "Location: http://127.0.0.1/"),
    "answers garbage": raw(b"\x00\xff garbage\r\n\r\n"),
    "closes midway": raw(b"HTTP/1.1 2"),
    "never answers": silent,
}


def test_a_delivery_that_failed_is_tried_again_with_the_same_id(store: Store) -> None:
    with ExitStack() as stack:
        receivers = {
            how: stack.enter_context(listening(in_turn(trouble, status(200))))
            for how, trouble in TROUBLES.items()
        }
        for how, there in receivers.items():
            with_webhook(store, there.url, how)
        started(store, "A-1")
        ports = (there.port for there in receivers.values())
        stack.enter_context(delivering_to(store, *ports, timeout_s=TIMEOUT_S, back_off_s=(0.01,) * 1000))
        for how, there in receivers.items():
            first, again, *_ = there.wait_for(2)
            assert first.headers["webhook-id"] == again.headers["webhook-id"]
            assert first.body == again.body
            wait_until(all_are(store, DeliveryStatus.DELIVERED, how))
            (done,) = deliveries(store, how)
            assert done.attempts >= 2
            assert done.answered == 200


def test_what_failed_too_often_is_given_up_until_somebody_sends_it_again(store: Store) -> None:
    with listening(in_turn(*[status(503, body="no")] * 3, status(200))) as there:
        with_webhook(store, there.url)
        started(store, "A-1")
        with delivering_to(store, there.port):
            wait_until(all_are(store, DeliveryStatus.DEAD))
            (dead,) = deliveries(store)
            assert (dead.attempts, dead.answered, dead.told, dead.due_at) == (3, 503, "no", None)
            assert len(there.received) == 3
            with store.writing(ANN) as work:
                webhooks.resend(work, "W-1", dead.id)
            wait_until(all_are(store, DeliveryStatus.DELIVERED))
        first, *_, last = there.wait_for(4)
        assert first.headers["webhook-id"] == last.headers["webhook-id"]


def test_a_receiver_that_is_down_gets_everything_once_it_is_up(store: Store) -> None:
    port, runs = unused_port(), [f"A-{number}" for number in range(5)]
    with_webhook(store, f"http://127.0.0.1:{port}/")
    started(store, *runs)
    with delivering_to(store, port, back_off_s=(0.01,) * 1000):
        wait_until(lambda: all(one.attempts for one in deliveries(store)))
        assert all("refused" in one.told for one in deliveries(store))
        with listening(status(200), port=port) as there:
            received = there.wait_for(5)
            wait_until(all_are(store, DeliveryStatus.DELIVERED))
        assert sorted(one.data["run"] for one in received) == runs


def test_slow_and_dead_receivers_hold_up_no_other(store: Store) -> None:
    """More of them than threads, and a lot waits for each."""
    dead = [unused_port() for _ in range(3)]
    with ExitStack() as stack:
        slow = [stack.enter_context(listening(silent)) for _ in range(6)]
        good = stack.enter_context(listening(status(200)))
        for number, port in enumerate([*dead, *(one.port for one in slow)]):
            with_webhook(store, f"http://127.0.0.1:{port}/", f"bad {number}")
        started(store, *(f"A-{number}" for number in range(20)))
        ports = (*dead, *(one.port for one in slow), good.port)
        counting = CountingPoster(poster(*ports).targets, TIMEOUT_S)
        stack.enter_context(delivering_to(store, poster=counting, back_off_s=(0.01,) * 1000))
        for one in slow:
            one.wait_for(1)
        with_webhook(store, good.url)
        for number in range(3):
            started(store, f"B-{number}")
            assert [one.data["run"] for one in good.wait_for(number + 1)][-1] == f"B-{number}"
        assert set(counting.at_once.most.values()) == {1}
        assert not any(one.status is DeliveryStatus.DELIVERED for one in deliveries(store, "bad 0"))


def test_one_webhook_is_told_one_thing_at_a_time_by_all_deliverers(store: Store) -> None:
    with listening(status(200)) as there, ExitStack() as stack:
        with_webhook(store, there.url)
        for _ in range(2):
            stack.enter_context(delivering_to(store, there.port))
        started(store, *(f"A-{number}" for number in range(60)))
        received = there.wait_for(60)
        wait_until(all_are(store, DeliveryStatus.DELIVERED))
        assert there.most_at_once == 1
        assert len({one.headers["webhook-id"] for one in received}) == len(there.received) == 60


def test_a_receiver_that_is_gone_is_told_nothing_more_until_somebody_switches_it_on(store: Store) -> None:
    with listening(in_turn(status(410), status(200))) as there, delivering_to(store, there.port):
        with_webhook(store, there.url)
        started(store, "A-1", "A-2")

        def is_off() -> bool:
            with store.reading("here") as view:
                return not webhooks.read(view, "W-1").item.active

        wait_until(is_off)
        with store.reading("here") as view:
            off = webhooks.detail(view, "W-1")
        assert "410" in off.switched_off
        assert (off.pending, off.dead) == (1, 1)
        started(store, "A-3")
        assert len(deliveries(store)) == 2
        with store.writing(ANN) as work:
            on = off.item.model_copy(update={"active": True})
            assert webhooks.replace(work, on, off.version).switched_off == ""
        second = there.wait_for(2)[1]
        assert second.data == {"run": "A-2"}


def test_for_a_day_the_old_secret_signs_too(store: Store) -> None:
    with listening(status(200)) as there:
        old = with_webhook(store, there.url)
        with store.writing(ANN) as work:
            new = service.change_secret(work, "W-1").secret
        started(store, "A-1")
        with delivering_to(store, there.port):
            (first,) = there.wait_for(1)
            for secret in (old, new):
                Verifier(secret).verify(first.body, first.headers)
            with store.writing(ANN) as work:
                past = text("UPDATE webhooks SET old_secret_until = created_at")
                work.connection.execute(past)
            started(store, "A-2")
            second = there.wait_for(2)[1]
        assert len(second.headers["webhook-signature"].split()) == 1
        Verifier(new).verify(second.body, second.headers)


def test_a_receiver_that_asks_to_be_left_alone_is(store: Store) -> None:
    with listening(status(429, "Retry-After: 3000")) as there, delivering_to(store, there.port):
        with_webhook(store, there.url)
        started(store, "A-1", "A-2")
        wait_until(lambda: any(one.attempts for one in deliveries(store)))
        started(store, "A-3")
        with store.reading("here") as view:
            resting = webhooks.detail(view, "W-1")
        assert resting.rests_until is not None
        assert (resting.rests_until - resting.updated_at).total_seconds() > 2900
        assert resting.failures == 1
        with store.writing(Actor("x")) as work:
            assert webhook_turns.take_turn(work, "x", 1) is None
        assert len(there.received) == 1


def test_waits_grow_and_none_is_like_another(store: Store) -> None:
    with listening(status(500)) as there:
        with_webhook(store, there.url)
        started(store, "A-1")
        with delivering_to(store, there.port, back_off_s=delivering.BACK_OFF_S, jitter=lambda: 0.5):
            wait_until(lambda: deliveries(store)[0].attempts)
            (once,) = deliveries(store)
            with store.writing(MIS) as work:
                work.connection.execute(text("UPDATE webhook_deliveries SET attempts = 6, due_at = tried_at"))
            wait_until(lambda: deliveries(store)[0].attempts == 7)
            (seventh,) = deliveries(store)
            with store.writing(MIS) as work:
                work.connection.execute(text("UPDATE webhook_deliveries SET due_at = tried_at"))
            wait_until(all_are(store, DeliveryStatus.DEAD))
    for one, wait_s in ((once, 5), (seventh, 36_000)):
        assert one.due_at is not None
        assert one.tried_at is not None
        assert (one.due_at - one.tried_at).total_seconds() == pytest.approx(1.1 * wait_s, abs=0.5)
    assert deliveries(store)[0].attempts == 8


def test_a_database_that_is_away_makes_nothing_late_for_good(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, refused = Store.writing, iter(range(3))

    def writing(self: Store, actor: Actor) -> Any:
        if actor.name.startswith("deliverer") and next(refused, None) is not None:
            raise Unavailable("The database does not answer")
        return real(self, actor)

    with listening(status(200)) as there:
        with_webhook(store, there.url)
        started(store, "A-1")
        monkeypatch.setattr(Store, "writing", writing)
        with delivering_to(store, there.port):
            wait_until(all_are(store, DeliveryStatus.DELIVERED))
        assert len(there.received) == 1


KILLED = """
    import time
    from app.store.store import Store
    from app.webhook_targets import Targets, read_allowed
    from app.worker.delivering import Deliverer
    from app.worker.posting import Poster, Receiver

    targets = Targets((read_allowed("127.0.0.1:{port}"),), plain_http=True)
    Deliverer(Store("{database}"), Poster(targets, timeout_s={timeout})).start()
    time.sleep(60)
"""


def test_a_delivery_in_whose_middle_a_process_is_killed_is_sent_again(
    tmp_path: Path, planted_sqlite: Path
) -> None:
    path = tmp_path / "killed.db"
    shutil.copyfile(planted_sqlite, path)
    database: URL = database_url(f"sqlite:///{path}")
    store = Store(database)
    with listening(in_turn(silent, status(200))) as there:
        with_webhook(store, there.url)
        started(store, "A-1")
        program = textwrap.dedent(KILLED.format(port=there.port, database=database, timeout=20))
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        process = subprocess.Popen([sys.executable, "-c", program], env=environment)
        try:
            there.wait_for(1)
        finally:
            process.send_signal(signal.SIGKILL)
            process.wait()
        (pending,) = deliveries(store)
        assert (pending.status, pending.attempts) == (DeliveryStatus.PENDING, 0)
        with store.writing(Actor("x")) as work:
            assert webhook_turns.take_turn(work, "x", 1) is None
            run_out = text("UPDATE webhooks SET lease_until = created_at")
            work.connection.execute(run_out)
        with delivering_to(store, there.port):
            first, again = there.wait_for(2)
            wait_until(all_are(store, DeliveryStatus.DELIVERED))
        assert first.headers["webhook-id"] == again.headers["webhook-id"]
    store.close()


def test_stopping_waits_for_what_is_under_way(store: Store) -> None:
    with listening(status(200)) as there:
        with_webhook(store, there.url)
        with delivering_to(store, there.port):
            started(store, *(f"A-{number}" for number in range(30)))
            there.wait_for(1)
        done = deliveries(store)
        told = {one.message for one in done if one.status is DeliveryStatus.DELIVERED}
        assert told == {one.headers["webhook-id"] for one in there.received}
        with delivering_to(store, there.port):
            wait_until(all_are(store, DeliveryStatus.DELIVERED))
        assert len(there.received) == 30
