"""A service, workers that work on what it is asked for, and somebody who does harm to all of them."""

from __future__ import annotations

import json
import random
import signal
import socket
import sys
import threading
import time
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from sqlalchemy import URL, Engine
from sqlalchemy.exc import DBAPIError

from app.settings import variable
from app.store.engine import POSTGRESQL
from tests.bench import chaos_checks
from tests.bench.chaos_checks import BrokenQueueError, Ends
from tests.bench.chaos_deeds import Deed, Deeds
from tests.bench.chaos_proofs import Hit, Proofs
from tests.bench.chaos_worker import BEATS, CLAIMED, WAITS_S, WRITES
from tests.bench.process_tree import send
from tests.bench.service_client import WrongAnswerError, answered, ask
from tests.bench.service_databases import Databases
from tests.bench.service_plant import send_sample, with_plant
from tests.bench.service_process import Process, served
from tests.bench.service_worker import GONE_WITHIN_S, WorkerProcess, told_by, working

ATTEMPTS: Final = 30
"""So often a request may begin here: it is killed again and again, and none is to be given up."""
BEYOND_LEASE_S: Final = 2.0
"""So much longer than its lease a worker is stopped."""
PATIENCE_S: Final = 300.0
"""Where no request has ended for so long, something is stuck."""
HIT_WITHIN: Final = (0.2, 0.8)
"""When a search is hit, in parts of the time that it takes."""
REASONS_EVERY: Final = 4
"""Of so many requests one asks for reasons: they take longer than short searches, and are not what is hit."""
AGAIN_S: Final = 0.02
LOOK_EVERY_S: Final = 0.4
MOST_MORE: Final = 4
"""Where deeds were missed, more requests are asked for: so many times as many in all at most."""


@dataclass(frozen=True)
class Measure:
    """How much of everything there is.

    Parameters
    ----------
    requests
        Orders that are asked for at least.
    kills, pauses
        Of workers and children.
    restarts, api_kills
        Of the database, where it is a server, and of the service.
    search_s
        How long each search takes at least.
    lease_s
        How long a worker may be silent.
    sample
        Whose queue is ordered.
    """

    requests: int
    workers: int
    kills: int
    pauses: int
    restarts: int
    api_kills: int
    search_s: float
    lease_s: float
    sample: str
    seed: int = 0


@dataclass
class Worker:
    """A worker's process, the claim that it has, and what is to be done to it."""

    number: int
    process: WorkerProcess
    request: str | None = None
    attempt: int = 0
    has_beaten: bool = False
    deed: Deed | None = None

    def has(self, request: str | None, attempt: int) -> bool:
        """Whether it works on this attempt, as far as it has told."""
        return (self.request, self.attempt) == (request, attempt)


@dataclass(order=True)
class Due:
    """A deed to be done to an attempt at a time; None: a worker goes on."""

    at_s: float
    deed: Deed | None = field(compare=False)
    worker: Worker = field(compare=False)
    request: str | None = field(compare=False, default=None)
    attempt: int = field(compare=False, default=0)


class Asking(threading.Thread):
    """Asks for orders, each until it is answered, whatever becomes of the service meanwhile.

    Parameters
    ----------
    wanted
        How many; may grow until `stop`.
    """

    def __init__(self, chaos: Chaos, wanted: int, search_s: float) -> None:
        super().__init__(daemon=True)
        self._chaos = chaos
        self._search_s = search_s
        self._over = threading.Event()
        self.wanted = wanted
        self.ids: list[str] = []
        self.error: Exception | None = None

    def run(self) -> None:
        try:
            while not self._over.is_set():
                if len(self.ids) < self.wanted:
                    self.ids.append(self._asked(len(self.ids)))
                else:
                    self._over.wait(AGAIN_S)
        except Exception as error:
            self.error = error

    def stop(self) -> None:
        """Ask for no more."""
        self._over.set()
        self.join()

    def _asked(self, number: int) -> str:
        body = {
            "name": f"chaos {number}",
            "seconds": self._search_s,
            "seed": number,
            "alternatives": 1,
            "reasons": number % REASONS_EVERY == 0,
        }
        wire = json.dumps(body).encode()
        once = {"Idempotency-Key": f"chaos-{number}"}
        until_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                asked = ask("POST", "/api/v1/planning-requests", self._chaos.key, wire, 201, once)
                return str(answered(self._chaos.api.port, asked).json["id"])
            except (OSError, EOFError, WrongAnswerError):
                if time.monotonic() > until_s or self._over.is_set():
                    raise
                time.sleep(0.1)


class Chaos:
    """Asks, does harm, and looks what became of it.

    Parameters
    ----------
    folder
        Where logs are written and workers tell what they do.
    """

    def __init__(self, made: Databases, url: URL, measure: Measure, folder: Path) -> None:
        self._made = made
        self._url = url
        self._measure = measure
        self._folder = folder
        self._rng = random.Random(measure.seed)
        self._held = ExitStack()
        self._log = self._held.enter_context((folder / "service.log").open("ab"))
        self._socket = self._held.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM))
        self._path = str(folder / "told")
        self._socket.bind(self._path)
        self._socket.settimeout(AGAIN_S)
        self._starts = 0
        self._due: list[Due] = []
        self._over = 0
        self._others = self._held.enter_context(ThreadPoolExecutor(1, "harm"))
        self._harm: Future[None] | None = None
        self.restarts = self.api_kills = 0
        self.deeds = Deeds.of(measure.kills, measure.pauses, measure.requests, self._rng)
        self._proofs = Proofs(self.deeds, measure.lease_s)
        self.key = ""
        self._api: Process | None = None
        self._workers: list[Worker] = []

    def start(self) -> None:
        """Start the service and the workers."""
        self.key = with_plant(self._url)
        self._api = self._served()
        send_sample(self.api.port, self.key, self._measure.sample)
        self._fill_up()

    def run(self, engine: Engine) -> Ends:
        """Do all that is to be done, until every request is over.

        Raises
        ------
        BrokenQueueError
            If anything is not as it must be.
        """
        asking = Asking(self, self._measure.requests, self._measure.search_s)
        asking.start()
        try:
            self._go_on(engine, asking)
        finally:
            asking.stop()
        found = chaos_checks.ends(engine, asking.ids)
        self._require_nobody_searches()
        return found

    def _go_on(self, engine: Engine, asking: Asking) -> None:
        """Until all is over that is asked for, and nothing is under way."""
        last_end_s, next_look_s = time.monotonic(), 0.0
        while self._over < asking.wanted or not self._is_settled:
            self._hear()
            self._do_what_is_due()
            self._require_all_go_on()
            if time.monotonic() < next_look_s:
                continue
            next_look_s = time.monotonic() + LOOK_EVERY_S
            before = self._over
            self._look(engine)
            last_end_s = time.monotonic() if self._over != before else last_end_s
            self._harm_the_others()
            self._ask_for_more(asking)
            if asking.error is not None:
                raise asking.error
            if time.monotonic() - last_end_s > PATIENCE_S:
                raise BrokenQueueError(f"no request has ended for {PATIENCE_S:g} s; {self._over} are over")

    def told(self) -> str:
        """What the service and its workers logged last."""
        logs = (self._folder / "service.log", *(worker.process.log for worker in self._workers))
        return "\n".join(f"{log.name}: {told_by(log)}" for log in logs)

    def close(self) -> None:
        """End all processes."""
        for worker in self._workers:
            worker.process.close()
        self._held.close()
        if self._api is not None:
            self._api.stop()

    # Processes

    @property
    def api(self) -> Process:
        """The service, or the one that was killed last."""
        if self._api is None:
            raise RuntimeError("nothing is served yet")
        return self._api

    def _served(self) -> Process:
        return served(self._url, self._log, slots="0", attempts=str(ATTEMPTS))

    def _fill_up(self) -> None:
        """Start workers in place of those that were killed; where nothing is left to do, one is enough."""
        enough = self._measure.workers if self.deeds.left.total() else 1
        while len(self._workers) < enough:
            self._workers.append(self._started())

    def _started(self) -> Worker:
        self._starts += 1
        command = (sys.executable, "-m", "tests.bench.chaos_worker", self._path, f"{WAITS_S:g}")
        log = self._folder / f"worker-{self._starts}.log"
        settings = {variable("lease"): f"{self._measure.lease_s:g} s"}
        return Worker(self._starts, working(self._url, f"w{self._starts}", log, settings, command))

    def _require_all_go_on(self) -> None:
        for worker in self._workers:
            if worker.process.has_ended:
                raise BrokenQueueError(f"worker {worker.number} ended by itself")

    def _kill(self, worker: Worker, deed: Deed) -> None:
        self._workers.remove(worker)
        worker.process.kill()
        worker.deed = None
        self._add(deed, worker.request, worker.attempt)
        self._fill_up()

    def _add(self, deed: Deed, request: str | None, attempt: int) -> None:
        if request is None:
            raise ValueError("a worker without a claim is left alone")
        self._proofs.add(Hit(deed, request, attempt, time.monotonic()))

    # What workers tell

    def _hear(self) -> None:
        try:
            told = json.loads(self._socket.recv(4096))
        except TimeoutError:
            return
        worker = next((each for each in self._workers if each.process.pid == told["pid"]), None)
        if worker is None:
            return  # said before it was killed
        if told["kind"] == CLAIMED:
            self._plan(worker, told["request"], told["attempt"])
        elif not worker.has(told["request"], told["attempt"]):
            return
        elif told["kind"] == BEATS:
            worker.has_beaten = True
        elif told["kind"] == WRITES and worker.deed is Deed.WRITING:
            self._kill(worker, Deed.WRITING)

    def _plan(self, worker: Worker, request: str, attempt: int) -> None:
        """Draw what is done to a claim. What was to be done to the one before has come to nothing."""
        if worker.deed is not None:
            self.deeds.missed(worker.deed)
        worker.request, worker.attempt, worker.has_beaten = request, attempt, False
        worker.deed = self.deeds.drawn(self._over)
        if worker.deed is Deed.EARLY:
            self._kill(worker, Deed.EARLY)
        elif worker.deed in (Deed.CHILD, Deed.WORKER, Deed.PAUSE):
            at_s = time.monotonic() + self._measure.search_s * self._rng.uniform(*HIT_WITHIN)
            self._due.append(Due(at_s, worker.deed, worker, request, attempt))

    def _do_what_is_due(self) -> None:
        now_s = time.monotonic()
        due = sorted(each for each in self._due if each.at_s <= now_s)
        self._due = [each for each in self._due if each.at_s > now_s]
        for each in due:
            if each.deed is None:
                send(each.worker.process.pid, signal.SIGCONT)
            elif each.worker.deed is each.deed and each.worker.has(each.request, each.attempt):
                self._do(each)

    def _do(self, due: Due) -> None:
        worker, deed = due.worker, due.deed
        child = worker.process.child if worker.has_beaten else None
        if child is None:
            # It does not search yet, or not any more: then its next claim ends this.
            due.at_s = time.monotonic() + AGAIN_S
            self._due.append(due)
        elif deed is Deed.WORKER:
            self._kill(worker, deed)
        elif deed is Deed.PAUSE:
            worker.deed = None
            send(worker.process.pid, signal.SIGSTOP)
            on_s = time.monotonic() + self._measure.lease_s + BEYOND_LEASE_S
            self._due.append(Due(on_s, None, worker))
            self._add(deed, due.request, due.attempt)
        elif deed is Deed.CHILD and send(child, signal.SIGKILL):
            worker.deed = None
            self._add(deed, due.request, due.attempt)

    # What became of it

    @property
    def _is_settled(self) -> bool:
        """Whether nothing is under way: no restart, no proof, no worker that stands still."""
        stopped = any(due.deed is None for due in self._due)
        return self._harm is None and not self._proofs.are_open and not stopped

    def _look(self, engine: Engine) -> None:
        try:
            self._over = chaos_checks.over(engine)
            self._proofs.look(engine, time.monotonic())
        except DBAPIError:
            return  # it is being restarted
        self._fill_up()

    def _ask_for_more(self, asking: Asking) -> None:
        """As long as anything is left to be done, there is something to do it to."""
        if not self.deeds.is_enough:
            enough = self._over + len(self._workers) + 1
            asking.wanted = max(asking.wanted, min(enough, MOST_MORE * self._measure.requests))

    def _require_nobody_searches(self) -> None:
        """Below a worker is only the process that children come from."""
        until_s = time.monotonic() + GONE_WITHIN_S
        while any(worker.process.child is not None for worker in self._workers):
            if time.monotonic() > until_s:
                raise BrokenQueueError("a child goes on though all is over")
            time.sleep(0.1)

    # The others

    def _harm_the_others(self) -> None:
        """Restart a server of its own, and kill the service, as often as each is to be; meanwhile workers are
        looked after.
        """
        if self._harm is not None:
            if self._harm.done():
                self._harm.result()
                self._harm = None
            return
        share = self._over / self._measure.requests
        restarts = self._measure.restarts if self._made.kind == POSTGRESQL else 0
        if self.restarts < restarts and share > self.restarts / restarts:
            self._harm = self._others.submit(self._restart)
        elif self.api_kills < self._measure.api_kills and share > self.api_kills / self._measure.api_kills:
            self._harm = self._others.submit(self._kill_api)

    def _restart(self) -> None:
        self._made.restart()
        self.restarts += 1

    def _kill_api(self) -> None:
        self.api.kill()
        self._api = self._served()
        self.api_kills += 1
