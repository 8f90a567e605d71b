"""Delivers messages to webhooks: each at least once, and none because of another late.

A few threads take turns (`store.webhook_turns`): a webhook is at most one thread's, of whatever process, so a
receiver that is slow or down holds up one thread and nothing else. Those that failed last share half of the
threads, so that any number of them leaves the others their way. A process that is killed in the middle of a
delivery leaves it pending, and it is sent again.
"""

from __future__ import annotations

import os
import random
import secrets
import socket
import threading
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Final

from app.contracts.webhooks import DeliveryStatus
from app.errors import Unavailable
from app.store import webhook_turns
from app.store.store import Actor, Store, Work
from app.store.wakeup import WEBHOOKS_TOPIC, Wakeup
from app.store.webhook_turns import Due, Tried, Turn
from app.telemetry import log
from app.worker.posting import Answered, Poster, Receiver

BACK_OFF_S: Final = (5.0, 30.0, 5 * 60.0, 30 * 60.0, 2 * 3600.0, 5 * 3600.0, 10 * 3600.0)
"""From one attempt to the next; after the attempt behind the last of them a delivery is given up."""

JITTER = 0.2
"""By so much of itself a wait is longer at most: what failed together should not come together again."""

THREADS = 8
LOOK_EVERY_S = 1.0
"""How often one looks for what is due, where nobody says that something is."""

MOST_A_TURN, LONGEST_TURN_S = 20, 5.0
"""After so many deliveries or so long others come first."""

REST_S = 1.0
"""How long a receiver that failed is left alone at least."""

LEASE_OF_TIMEOUTS = 3
"""A lease lasts so many times as long as an attempt may take."""

GONE = 410
"""The status by which a receiver says that it wants no more messages."""

LOG = log("runwright.webhooks")


class Deliverer:
    """Threads that deliver what is due, of all plants.

    Parameters
    ----------
    poster
        Posts to receivers.
    threads
        Deliveries at once.
    back_off_s
        From one attempt to the next.
    jitter
        Draws from 0 to 1; by chance if None.
    """

    def __init__(
        self,
        store: Store,
        poster: Poster,
        *,
        threads: int = THREADS,
        back_off_s: Sequence[float] = BACK_OFF_S,
        jitter: Callable[[], float] | None = None,
    ) -> None:
        self._store = store
        self._poster = poster
        self._back_off_s = back_off_s
        self._jitter = jitter or random.Random().random
        self._lease_s = LEASE_OF_TIMEOUTS * poster.timeout_s
        self.name = f"deliverer {socket.gethostname()} {os.getpid()} {secrets.token_hex(4)}"
        self._stopping = threading.Event()
        self._woken = threading.Event()
        self._looking = threading.Lock()
        self._counting = threading.Lock()
        self._at_failing, self._most_at_failing = 0, max(threads // 2, 1)
        self._threads = [
            threading.Thread(target=self._work, name=f"delivering {number}", daemon=True)
            for number in range(threads)
        ]
        self._unsubscribe: Callable[[], None] = lambda: None

    def start(self, wakeup: Wakeup | None = None) -> None:
        """Begin to deliver; without somebody who wakes it, it looks for itself once a second."""
        if wakeup is not None:
            self._unsubscribe = wakeup.subscribe(self.wake)
        for thread in self._threads:
            thread.start()

    def wake(self, topic: str | None = None) -> None:
        """Look whether something is due."""
        if topic in (None, WEBHOOKS_TOPIC):
            self._woken.set()

    def stop(self, within_s: float = 2.0) -> None:
        """Begin no other delivery. One that is under way has so long to end; what takes longer may be sent
        again once its lease has run out.
        """
        self._unsubscribe()
        self._stopping.set()
        self._woken.set()
        ends = time.monotonic() + within_s
        for thread in self._threads:
            if thread.ident is not None:
                thread.join(max(ends - time.monotonic(), 0.0))

    def _work(self) -> None:
        while not self._stopping.is_set():
            taken = self._next_turn()
            if taken is not None:
                self._serve(*taken)

    def _next_turn(self) -> tuple[Turn, Sequence[Due]] | None:
        """Wait for the next turn; one thread waits, the others wait for their turn to do so."""
        with self._looking:
            while not self._stopping.is_set():
                self._woken.clear()
                try:
                    taken = self._taken()
                except Unavailable as error:
                    LOG.warning("nothing delivered", why=str(error))
                except Exception:
                    LOG.exception("nothing delivered")
                else:
                    if taken is not None:
                        return taken
                self._woken.wait(LOOK_EVERY_S)
        return None

    def _taken(self) -> tuple[Turn, Sequence[Due]] | None:
        with self._counting:
            only_well = self._at_failing >= self._most_at_failing
        # Most of the time nothing waits, and of a SQLite file there is one writer.
        with self._store.reading() as view:
            if not webhook_turns.anything_waits(view):
                return None
        with self._store.writing(Actor(self.name)) as work:
            turn = webhook_turns.take_turn(work, self.name, self._lease_s, only_well=only_well)
            if turn is None:
                return None
            due = webhook_turns.due(work, turn, MOST_A_TURN)
        if turn.fails:
            with self._counting:
                self._at_failing += 1
        return turn, due

    def _serve(self, turn: Turn, due: Sequence[Due]) -> None:
        """Deliver what is due until a delivery fails, somebody changes the webhook, or it was long enough."""
        ends = time.monotonic() + LONGEST_TURN_S
        try:
            with self._poster.receiver(turn.url) as receiver:
                for delivery in due:
                    if self._stopping.is_set() or not self._delivered(turn, delivery, receiver):
                        break
                    if time.monotonic() > ends:
                        break
            self._written(turn, lambda work: webhook_turns.end_turn(work, turn))
        except Exception:
            LOG.exception("a turn broke off", plant=turn.plant, webhook=turn.webhook)
        finally:
            if turn.fails:
                with self._counting:
                    self._at_failing -= 1
            self._woken.set()

    def _delivered(self, turn: Turn, delivery: Due, receiver: Receiver) -> bool:
        """Try a delivery; False: the turn ends with it."""
        answered = receiver.post(delivery.message, delivery.body, turn.secrets, datetime.now(UTC))
        tried = self._tried(delivery, answered)

        def write(work: Work) -> bool:
            goes_on = webhook_turns.tell(work, turn, delivery, tried, self._lease_s)
            if goes_on and answered.status == GONE:
                webhook_turns.switch_off(
                    work, turn, f"its receiver answered {GONE}: it wants no more messages"
                )
            return goes_on

        goes_on = self._written(turn, write)
        if tried.status is not DeliveryStatus.DELIVERED:
            self._tell_failure(turn, delivery, tried)
        return bool(goes_on) and tried.status is DeliveryStatus.DELIVERED

    def _tried(self, delivery: Due, answered: Answered) -> Tried:
        status, told, took_ms = answered.status, answered.told, answered.took_ms
        if status is not None and 200 <= status < 300:
            return Tried(DeliveryStatus.DELIVERED, status, told, took_ms)
        rests_s = max(answered.rests_s, REST_S)
        if status == GONE or delivery.attempts >= len(self._back_off_s):
            return Tried(DeliveryStatus.DEAD, status, told, took_ms, rests_s=rests_s)
        wait_s = self._back_off_s[delivery.attempts] * (1 + JITTER * self._jitter())
        return Tried(DeliveryStatus.PENDING, status, told, took_ms, max(wait_s, rests_s), rests_s)

    def _written(self, turn: Turn, write: Callable[[Work], bool | None]) -> bool:
        """What writing gives, tried again while the turn can be ours; False where it never went well."""
        ends = time.monotonic() + self._lease_s
        while True:
            try:
                with self._store.writing(webhook_turns.actor(turn)) as work:
                    return bool(write(work))
            except Unavailable as error:
                LOG.warning("a result is not written", why=str(error), webhook=turn.webhook)
                if time.monotonic() > ends or self._stopping.wait(LOOK_EVERY_S):
                    return False

    def _tell_failure(self, turn: Turn, delivery: Due, tried: Tried) -> None:
        tell = LOG.warning if tried.status is DeliveryStatus.DEAD else LOG.info
        tell(
            "a message was given up"
            if tried.status is DeliveryStatus.DEAD
            else "a message was not delivered",
            plant=turn.plant,
            webhook=turn.webhook,
            delivery=delivery.id,
            attempt=delivery.attempts + 1,
            answered=tried.answered,
            told=tried.told,
        )
