"""A worker on each of two hosts: one is cut off, the other takes its request, and it comes back."""

from __future__ import annotations

import json
import signal
import socket
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any, Final, TypeVar

from sqlalchemy import URL, Engine, select

from app.contracts.planning_requests import EventKind
from app.settings import variable
from app.store import requests
from app.store.claims import LOST
from app.store.store import Actor, Store
from tests.app.store.planning_requests import request
from tests.app.worker.asked import planning_input
from tests.bench.chaos_checks import ENDS, EVENTS, REQUESTS, BrokenQueueError
from tests.bench.chaos_worker import BEATS, WRITES
from tests.bench.namespaces import ADDRESS, HOSTS, Network
from tests.bench.process_tree import send
from tests.bench.service_worker import WorkerProcess, told_by, working

Found = TypeVar("Found")

PLANT: Final = "main"
PATIENCE_S: Final = 180.0
LOOK_EVERY_S: Final = 0.05
WRITES_FOR_S: Final = 2.0
"""So long a result is being written, at least: meanwhile the cable is pulled."""

GIVEN_UP: Final = "the database has not answered for the length of a lease"
"""What a worker logs when it ends a child of its own accord."""

EXPECTED = (
    *(EventKind.QUEUED, EventKind.STARTED, EventKind.RETRIED),
    *(EventKind.STARTED, EventKind.FINISHED),
)
"""What happens to a request whose worker is cut off."""


class When(StrEnum):
    """What the worker is at when it is cut off."""

    SEARCHING = "its child searches"
    WRITING = "it writes a result"


@dataclass(frozen=True)
class Measure:
    """How a round goes.

    Parameters
    ----------
    lease_s
        How long a worker may be silent.
    cut_off_s
        How long it is cut off, at least.
    search_s
        How long a search takes.
    is_stopped
        Whether the child stands still while it is cut off, so that it is there for as long as nobody ends
        it and takes no processor. Else `search_s` has to be longer than the lease and a second.
    """

    lease_s: float
    cut_off_s: float
    search_s: float
    is_stopped: bool


@dataclass(frozen=True)
class Round:
    """What came of a round.

    Parameters
    ----------
    cut_off_s
        How long the host was cut off.
    retaken_s
        From then to the other host's start.
    child_ended_s
        From then to the end of its child; None where it had none.
    usable_s
        From its coming back to the start of its next request.
    """

    cut_off_s: float
    retaken_s: float
    child_ended_s: float | None
    usable_s: float


class Hosts:
    """Workers on both hosts.

    Parameters
    ----------
    url
        The database as this process reaches it, over no network.
    folder
        Where logs are written and workers tell what they do.
    """

    def __init__(self, network: Network, url: URL, engine: Engine, measure: Measure, folder: Path) -> None:
        self._network = network
        self._engine = engine
        self._measure = measure
        self._store = Store(url)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        path = str(folder / "told")
        self._socket.bind(path)
        self._socket.settimeout(LOOK_EVERY_S)
        self.ids: list[str] = []
        command = (sys.executable, "-m", "tests.bench.chaos_worker", path, f"{WRITES_FOR_S:g}")
        settings = {variable("lease"): f"{measure.lease_s:g} s"}
        self._workers: dict[str, WorkerProcess] = {}
        theirs = url.set(host=ADDRESS, port=5432, query={})
        for host in HOSTS:
            log, before = folder / f"{host}.log", network.inside(host)
            self._workers[host] = working(theirs, host, log, settings, command, before)
        for worker in self._workers.values():
            worker.wait_until_ready()

    def close(self) -> None:
        """End both."""
        for worker in self._workers.values():
            worker.close()
        self._socket.close()
        self._store.close()

    def told(self) -> str:
        """What the workers logged last."""
        return "\n".join(f"{host}: {told_by(worker.log, 3000)}" for host, worker in self._workers.items())

    def round(self, when: When, host: str) -> Round | None:
        """Cut a host off and let it come back. None: its request had ended before it was cut off.

        Raises
        ------
        BrokenQueueError
            If a request goes another way than it should.
        """
        (other,) = (each for each in HOSTS if each != host)
        worker, others = self._workers[host], self._workers[other]
        self._forget_what_was_told()
        send(others.pid, signal.SIGSTOP)  # so that this one takes it
        id = self._enqueue()
        self._hear(BEATS if when is When.SEARCHING else WRITES, id, worker)
        child = worker.child
        if child is not None and self._measure.is_stopped:
            send(child, signal.SIGSTOP)
        self._network.cut(host)
        cut_s = time.time()
        send(others.pid, signal.SIGCONT)
        ended_s = None if child is None else self._child_ends(worker, id)
        retaken = self._begun(id, 2)
        if retaken is None or (ended_s is None) != (when is When.WRITING):
            self._network.mend(host)
            self._over(id)
            return None
        self._ends(id, other, EXPECTED)
        child_ended_s = None if ended_s is None else ended_s - cut_s
        time.sleep(max(0.0, cut_s + self._measure.cut_off_s - time.time()))
        send(others.pid, signal.SIGSTOP)  # so that the next one waits for the one that comes back
        following = self._enqueue()
        self._network.mend(host)
        back_s = time.time()
        again = self._begun(following, 1) or back_s
        self._ends(following, host, (EventKind.QUEUED, EventKind.STARTED, EventKind.FINISHED))
        send(others.pid, signal.SIGCONT)
        return Round(back_s - cut_s, retaken - cut_s, child_ended_s, again - back_s)

    def _enqueue(self) -> str:
        id = f"R-{len(self.ids) + 1}"
        asked = planning_input(work=None, seconds=self._measure.search_s, alternatives=1)
        with self._store.writing(Actor("bench", PLANT)) as work:
            requests.enqueue(work, replace(request(id), input=asked))
        self.ids.append(id)
        return id

    # What happens

    def _forget_what_was_told(self) -> None:
        """Make room: where nobody listens, only so much is kept."""
        self._socket.setblocking(False)
        with suppress(BlockingIOError):
            while True:
                self._socket.recv(4096)
        self._socket.settimeout(LOOK_EVERY_S)

    def _hear(self, kind: str, id: str, worker: WorkerProcess) -> None:
        """Wait until a worker says so of a request."""

        def said() -> bool | None:
            try:
                told = json.loads(self._socket.recv(4096))
            except TimeoutError:
                return None
            is_it = (told["kind"], told["request"], told["pid"]) == (kind, id, worker.pid)
            return is_it or None

        self._await(said, f"{kind} of {id}")

    def _child_ends(self, worker: WorkerProcess, id: str) -> float | None:
        """When a child is gone, as its worker has ended it while it was cut off; None where it had done."""

        def ended() -> tuple[float | None] | None:
            if self._events(id)[-1]["kind"] in ENDS and (child := worker.child) is not None:
                send(child, signal.SIGCONT)
            return None if worker.child is not None else (time.time(),)

        (ended_s,) = self._await(ended, "the child to end")
        lines = worker.log.read_text(encoding="utf-8").splitlines()
        is_given_up = any(GIVEN_UP in line and f'"{id}"' in line for line in lines)
        return ended_s if is_given_up else None

    def _begun(self, id: str, attempt: int) -> float | None:
        """When an attempt began; None where the request ended before."""

        def begun() -> tuple[float | None] | None:
            events = self._events(id)
            starts = [event["at"] for event in events if event["kind"] is EventKind.STARTED]
            if len(starts) >= attempt:
                return (starts[attempt - 1].timestamp(),)
            return (None,) if events[-1]["kind"] in ENDS else None

        return self._await(begun, f"attempt {attempt} of {id}")[0]

    def _ends(self, id: str, host: str, kinds: Sequence[EventKind]) -> None:
        """Wait until a request is over; it must have ended on a host and in this way."""
        row = self._over(id)
        events = self._events(id)
        told = [f"{event['kind']} {event['told']}" for event in events]
        if [event["kind"] for event in events] != list(kinds) or not row["worker"].startswith(f"{host}-"):
            raise BrokenQueueError(f"{id} should have ended on {host}: {told}")
        lost = [event["told"] for event in events if event["kind"] is EventKind.RETRIED]
        if not all(each.startswith(LOST) for each in lost):
            raise BrokenQueueError(f"{id} was not lost with its worker: {told}")

    def _over(self, id: str) -> Any:
        """Wait until a request is over; its row."""

        def over() -> Any:
            with self._engine.connect() as connection:
                row = connection.execute(select(REQUESTS).where(REQUESTS.c.id == id)).mappings().one()
            return row if row["status"].is_over else None

        return self._await(over, f"the end of {id}")

    def _events(self, id: str) -> Sequence[Any]:
        chosen = select(EVENTS).join(REQUESTS, REQUESTS.c.pk == EVENTS.c.request_pk)
        ordered = chosen.where(REQUESTS.c.id == id).order_by(EVENTS.c.number)
        with self._engine.connect() as connection:
            return connection.execute(ordered).mappings().all()

    def _await(self, look: Callable[[], Found | None], what: str) -> Found:
        until_s = time.monotonic() + PATIENCE_S
        while (found := look()) is None:
            if time.monotonic() > until_s:
                raise BrokenQueueError(f"{what} was waited for {PATIENCE_S:g} s")
            for host, worker in self._workers.items():
                if worker.has_ended:
                    raise BrokenQueueError(f"the worker of {host} ended by itself")
            time.sleep(LOOK_EVERY_S)
        return found
