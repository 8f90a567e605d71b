"""A worker as people run it: in the process of the service, or in one of its own."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Final

from prometheus_client import CollectorRegistry, start_http_server

from app.errors import BadInput, Fault, Unavailable
from app.services.opening import open_store
from app.settings import Settings, variable
from app.store.store import Store
from app.store.wakeup import Wakeup
from app.telemetry import WorkerFigures, log, set_up_logs
from app.worker.children import Nursery
from app.worker.claim_book import StoredClaims
from app.worker.delivering import Deliverer
from app.worker.posting import Poster
from app.worker.supervisor import STOPPED_WITHIN_S, Supervisor, worker_name

STARTED_WITHIN_S: Final = 60.0
"""So long a worker waits for a database that does not answer when it is started."""

TRIED_AGAIN_AFTER_S: Final = 2.0

LOOPBACK: Final = "127.0.0.1"


def can_work() -> bool:
    """Whether this system has what children are made with."""
    return hasattr(os, "fork")


def supervisor_of(
    settings: Settings, store: Store, slots: int, name: str | None, figures: WorkerFigures
) -> Supervisor:
    """A worker on a store."""
    lease_s = settings.lease.total_seconds()
    worker = worker_name(name)
    log("runwright.worker").info("works", worker=worker, slots=slots, lease_s=lease_s)
    return Supervisor(StoredClaims(store, worker, lease_s), Nursery(), slots, lease_s, figures)


def deliverer_of(settings: Settings, store: Store) -> Deliverer:
    """Delivers messages to webhooks beside a worker, where the settings let them be sent."""
    return Deliverer(store, Poster(settings.targets))


class EmbeddedWorker:
    """A worker in threads of the process that answers; it delivers to webhooks too.

    Parameters
    ----------
    wakeup
        Wakes it; started and closed by others.
    """

    def __init__(self, settings: Settings, store: Store, wakeup: Wakeup, figures: WorkerFigures) -> None:
        slots = settings.serving_slots
        self._supervisor = supervisor_of(settings, store, slots, None, figures)
        self._thread = threading.Thread(target=self._supervisor.run, name="worker", daemon=True)
        self._unsubscribe = wakeup.subscribe(self._supervisor.wake)
        self._deliverer = deliverer_of(settings, store)
        self._wakeup = wakeup

    def start(self) -> None:
        """Begin to work."""
        self._thread.start()
        self._deliverer.start(self._wakeup)

    def stop(self) -> None:
        """Hand back what is not done, and end: within a few seconds."""
        self._unsubscribe()
        self._supervisor.stop()
        self._deliverer.stop()
        if self._thread.ident is None:
            self._supervisor.close()
        else:
            self._thread.join(2 * STOPPED_WITHIN_S)


def work(settings: Settings, name: str | None, tell: Callable[[str], None]) -> None:
    """Work in this process, and deliver to webhooks, until it is told to stop.

    Parameters
    ----------
    tell
        Told in words what people want to know before the log begins.

    Raises
    ------
    BadInput
        If the address of the database is none, its port of figures is taken, or processes cannot be forked.
    NotMigrated
        If its tables are of another version.
    Unavailable
        If it does not answer for a minute.
    """
    if not can_work():
        raise BadInput([Fault("works on Linux and macOS alone", field="worker")])
    set_up_logs(settings.log_level, as_json=settings.is_json)
    store = opened_store(settings, tell)
    wakeup = Wakeup(store.url, store.connections)
    slots = settings.working_slots
    figures = WorkerFigures()
    supervisor = supervisor_of(settings, store, slots, name, figures)
    wakeup.subscribe(supervisor.wake)
    deliverer = deliverer_of(settings, store)
    wakeup.start()
    deliverer.start(wakeup)
    shown = store.url.render_as_string(hide_password=True)
    tell(f"Working on planning requests of {shown}, {slots} at once; Ctrl-C stops.")
    try:
        with _shown(figures, settings.figures_port), _stopped_by_signals(supervisor.stop):
            supervisor.run()
    finally:
        deliverer.stop()
        wakeup.close()
        store.close()


def opened_store(settings: Settings, tell: Callable[[str], None]) -> Store:
    """The store, which is waited for: hosts are started in any order.

    Raises
    ------
    Unavailable
        If it does not answer for a minute.
    """
    ends_s = time.monotonic() + STARTED_WITHIN_S
    while True:
        try:
            return open_store(settings)
        except Unavailable as error:
            if time.monotonic() >= ends_s:
                raise
            tell(f"{error} Trying again …")
            time.sleep(TRIED_AGAIN_AFTER_S)


@contextmanager
def _shown(figures: WorkerFigures, port: int | None) -> Iterator[None]:
    """Figures for Prometheus at a port of this machine, if one is said.

    Raises
    ------
    BadInput
        If somebody listens there already.
    """
    if port is None:
        yield
        return
    registry = CollectorRegistry()
    registry.register(figures)
    try:
        server, _ = start_http_server(port, LOOPBACK, registry)
    except OSError as error:
        right = f"cannot be listened at: {error.strerror or error}"
        raise BadInput([Fault(right, field=variable("figures_port"), value=str(port))]) from None
    try:
        yield
    finally:
        server.shutdown()
        server.server_close()


@contextmanager
def _stopped_by_signals(stop: Callable[[], None]) -> Iterator[None]:
    def told(_number: int, _frame: FrameType | None) -> None:
        stop()

    before = {number: signal.signal(number, told) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
