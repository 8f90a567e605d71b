"""Workers, their children, the service and the database are killed while requests are worked on."""

from __future__ import annotations

import argparse
import itertools
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from rich.console import Console
from sqlalchemy import URL, Engine
from sqlalchemy.exc import DBAPIError

from app.settings import variable
from app.store.engine import POSTGRESQL
from tests.bench import chaos_checks
from tests.bench.chaos_checks import BrokenQueueError, Ends
from tests.bench.chaos_deeds import KILLS, MEANT, Deed, Deeds
from tests.bench.chaos_worker import BEATS, CLAIMED, WRITES
from tests.bench.entry import OURS
from tests.bench.load_rows import engine_of
from tests.bench.process_tree import descendants, parents, send
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.service_client import WrongAnswerError, answered, ask
from tests.bench.service_databases import KINDS, Databases, databases
from tests.bench.service_plant import send_sample, with_plant
from tests.bench.service_process import ROOT, Process, served
from tests.bench.tables import FigureTable, seconds
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "chaos"
HELP = "Workers, children, the service and the database are killed: every request ends once, with one result."

LEASE_S: Final = 3.0
ATTEMPTS: Final = 30
"""So often a request may begin here: it is killed again and again, and none is to be given up."""
PAUSED_S: Final = LEASE_S + 2.0
RESTARTS: Final = 2
API_KILLS: Final = 3
PATIENCE_S: Final = 180.0
"""Where no request has ended for so long, something is stuck."""
SEARCHES_S: Final = (0.4, 1.6)
"""How long after its claim a search is hit."""
GONE_WITHIN_S: Final = 5.0


@dataclass
class Worker:
    """A worker's process, and the claim that it has."""

    number: int
    popen: subprocess.Popen[bytes]
    request: str | None = None
    attempt: int = 0
    has_beaten: bool = False
    deed: Deed | None = None

    @property
    def pid(self) -> int:
        return self.popen.pid


@dataclass(order=True)
class Due:
    """Something to be done at a time."""

    at_s: float
    what: str = field(compare=False)
    worker: Worker = field(compare=False)
    request: str | None = field(compare=False, default=None)
    attempt: int = field(compare=False, default=0)


class Asking(threading.Thread):
    """Asks for orders, each until it is answered, whatever becomes of the service meanwhile."""

    def __init__(self, chaos: Chaos, requests: int, search_s: float) -> None:
        super().__init__(daemon=True)
        self._chaos = chaos
        self._requests = requests
        self._search_s = search_s
        self.ids: list[str] = []
        self.error: Exception | None = None

    def run(self) -> None:
        try:
            for number in range(self._requests):
                self.ids.append(self._asked(number))
        except Exception as error:
            self.error = error

    def _asked(self, number: int) -> str:
        body = {"name": f"chaos {number}", "seconds": self._search_s, "seed": number, "alternatives": 1}
        wire = json.dumps(body).encode()
        once = {"Idempotency-Key": f"chaos-{number}"}
        until_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                asked = ask("POST", "/api/v1/planning-requests", self._chaos.key, wire, 201, once)
                return str(answered(self._chaos.api.port, asked).json["id"])
            except (OSError, EOFError, WrongAnswerError):
                if time.monotonic() > until_s:
                    raise
                time.sleep(0.1)


class Chaos:
    """A service, workers and somebody who does harm to them."""

    def __init__(self, made: Databases, url: URL, asked: argparse.Namespace, folder: Path) -> None:
        self._made = made
        self._url = url
        self._asked = asked
        self._rng = random.Random(asked.seed_now)
        self._log = (folder / "log").open("ab")
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._path = str(folder / "told")
        self._socket.bind(self._path)
        self._socket.settimeout(0.02)
        self.key = with_plant(url)
        self.api: Process = self._served()
        send_sample(self.api.port, self.key, asked.sample)
        self._workers = [self._started(number) for number in range(asked.workers)]
        self._deeds = Deeds.of(asked.kills, asked.pauses, asked.requests, self._rng)
        self._due: list[Due] = []
        self.restarts = 0
        self.api_kills = 0

    def run(self, engine: Engine) -> tuple[Ends, Deeds]:
        """Ask, do harm, wait until all is over, and look.

        Raises
        ------
        BrokenQueueError
            If anything is not as it must be.
        """
        asking = Asking(self, self._asked.requests, self._asked.search_s)
        asking.start()
        over, ended_s = 0, time.monotonic()
        next_look_s = 0.0
        while over < self._asked.requests:
            self._hear()
            self._do_what_is_due()
            self._start_those_that_ended()
            if time.monotonic() < next_look_s:
                continue
            next_look_s = time.monotonic() + 0.5
            before, over = over, self._over(engine, over)
            ended_s = time.monotonic() if over != before else ended_s
            self._harm_the_others(over)
            if asking.error is not None:
                raise asking.error
            if time.monotonic() - ended_s > PATIENCE_S:
                raise BrokenQueueError(f"no request has ended for {PATIENCE_S:g} s; {over} are over")
        asking.join()
        found = chaos_checks.ends(engine, asking.ids)
        self._require_all_gone()
        return found, self._deeds

    def close(self) -> None:
        """End all processes."""
        for worker in self._workers:
            send(worker.pid, signal.SIGCONT)
            worker.popen.kill()
            worker.popen.wait()
        self.api.stop()
        self._socket.close()
        self._log.close()

    @property
    def over_enough(self) -> bool:
        return self._deeds.is_enough

    # Processes

    def _served(self) -> Process:
        return served(self._url, self._log, slots="0", attempts=str(ATTEMPTS))

    def _started(self, number: int) -> Worker:
        command = (sys.executable, "-m", "tests.bench.chaos_worker", self._path)
        url = self._url.render_as_string(hide_password=False)
        settings = {variable("lease"): f"{LEASE_S:g} s"}
        return Worker(
            number,
            subprocess.Popen(
                (*command, "worker", "--database", url, "--slots", "1", "--name", f"w{number}"),
                cwd=ROOT,
                env=os.environ | settings,
                stdin=subprocess.DEVNULL,
                stdout=self._log,
                stderr=self._log,
            ),
        )

    def _start_those_that_ended(self) -> None:
        for idx, worker in enumerate(self._workers):
            if worker.popen.poll() is not None:
                self._workers[idx] = self._started(worker.number)

    def _kill(self, worker: Worker) -> None:
        below = [pid for pid, _ in descendants(worker.pid)]
        worker.popen.send_signal(signal.SIGKILL)
        worker.popen.wait()
        _require_gone(below)

    def _child(self, worker: Worker) -> int | None:
        """The process that searches: the deepest of the worker's."""
        below = list(descendants(worker.pid))
        deepest = max((depth for _, depth in below), default=0)
        children = [pid for pid, depth in below if depth == deepest]
        return children[0] if deepest > 1 and children else None

    # What workers tell

    def _hear(self) -> None:
        try:
            told = json.loads(self._socket.recv(4096))
        except TimeoutError:
            return
        worker = next((each for each in self._workers if each.pid == told["pid"]), None)
        if worker is None:
            return  # said before it was killed
        if told["kind"] == CLAIMED:
            self._plan(worker, told["request"], told["attempt"])
        elif (told["request"], told["attempt"]) != (worker.request, worker.attempt):
            return
        elif told["kind"] == BEATS:
            worker.has_beaten = True
        elif told["kind"] == WRITES and worker.deed is Deed.WRITING:
            self._hit(worker, Deed.WRITING)

    def _plan(self, worker: Worker, request: str, attempt: int) -> None:
        worker.request, worker.attempt, worker.has_beaten = request, attempt, False
        worker.deed = self._deeds.drawn(self._last_over)
        if worker.deed is Deed.EARLY:
            self._hit(worker, Deed.EARLY)
        elif worker.deed in (Deed.CHILD, Deed.WORKER, Deed.PAUSE):
            at_s = time.monotonic() + self._rng.uniform(*SEARCHES_S)
            self._due.append(Due(at_s, "deed", worker, request, attempt))

    def _hit(self, worker: Worker, deed: Deed) -> None:
        self._kill(worker)
        self._deeds.hit(deed)
        worker.deed = None

    def _do_what_is_due(self) -> None:
        now_s = time.monotonic()
        due = [each for each in self._due if each.at_s <= now_s]
        self._due = [each for each in self._due if each.at_s > now_s]
        for each in due:
            if each.what == "go on":
                send(each.worker.pid, signal.SIGCONT)
            else:
                self._do(each)

    def _do(self, due: Due) -> None:
        worker, deed = due.worker, due.worker.deed
        if deed is None:
            return
        worker.deed = None
        is_still = (worker.request, worker.attempt) == (due.request, due.attempt) and worker.has_beaten
        if worker.popen.poll() is not None or not is_still:
            self._deeds.missed(deed)
        elif deed is Deed.WORKER:
            self._hit(worker, deed)
        elif deed is Deed.PAUSE:
            send(worker.pid, signal.SIGSTOP)
            self._due.append(Due(time.monotonic() + PAUSED_S, "go on", worker))
            self._deeds.hit(deed)
        else:
            child = self._child(worker)
            if child is not None and send(child, signal.SIGKILL):
                self._deeds.hit(deed)
            else:
                self._deeds.missed(deed)

    # The others

    _last_over = 0

    def _over(self, engine: Engine, before: int) -> int:
        try:
            self._last_over = chaos_checks.over(engine)
        except DBAPIError:
            return before  # it is being restarted
        return self._last_over

    def _harm_the_others(self, over: int) -> None:
        """Restart a server of its own twice, and kill the service as often as it is to be."""
        share = over / self._asked.requests
        if self._made.kind == POSTGRESQL and share > (self.restarts + 1) / (RESTARTS + 1):
            self._made.restart()
            self.restarts += 1
        if share > (self.api_kills + 0.5) / (API_KILLS + 1) and self.api_kills < API_KILLS:
            self.api.kill()
            self.api = self._served()
            self.api_kills += 1

    def _require_all_gone(self) -> None:
        """Nobody searches any more: below a worker is only the process that children come from."""
        until_s = time.monotonic() + GONE_WITHIN_S
        while any(self._child(worker) is not None for worker in self._workers):
            if time.monotonic() > until_s:
                raise BrokenQueueError("a child goes on though all is over")
            time.sleep(0.1)


def _require_gone(pids: Sequence[int]) -> None:
    until_s = time.monotonic() + GONE_WITHIN_S
    while left := set(pids) & parents().keys():
        if time.monotonic() > until_s:
            raise BrokenQueueError(f"processes of a killed worker go on: {sorted(left)}")
        time.sleep(0.02)


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=7200.0, help="After which no other database begins.")
    parser.add_argument("--seeds", type=int, default=1, help="Runs on each kind of database.")
    parser.add_argument("--requests", type=int, default=200, help="Orders that are asked for.")
    parser.add_argument("--workers", type=int, default=3, help="Processes that work, of one slot each.")
    parser.add_argument("--kills", type=int, default=120, help="Of workers and children.")
    parser.add_argument("--pauses", type=int, default=6, help="Workers stopped for longer than their lease.")
    parser.add_argument("--search-s", type=float, default=2.0, help="How long each search takes at least.")
    parser.add_argument("--sample", default="day", help="Whose queue is ordered.")
    parser.add_argument("--databases", nargs="+", choices=KINDS, default=list(KINDS), help="Kinds of them.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every kind of database with every seed; ends with an error where a request is lost or doubled."""
    file, begun_s = RowFile(asked.json, asked.command), time.perf_counter()
    for kind, seed in itertools.product(asked.databases, range(asked.seeds)):
        key = _key(kind, seed, asked)
        if file.has(**key) or time.perf_counter() - begun_s > asked.seconds:
            continue
        asked.seed_now = seed
        row_begun_s = time.perf_counter()
        with databases(kind) as made, _chaos(made, asked) as (chaos, engine):
            found, deeds = chaos.run(engine)
            row = (
                key
                | _row(kind, found, deeds, chaos)
                | {"wall_s": round(time.perf_counter() - row_begun_s, 1)}
            )
        file.add(row | circumstances(SERVICE_PACKAGES))
        console.print(f"{kind}, seed {seed}: {json.dumps(row)}")
    return [row for row in file.rows if row["bench"] == NAME]


@contextmanager
def _chaos(made: Databases, asked: argparse.Namespace) -> Iterator[tuple[Chaos, Engine]]:
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="runwright-chaos-")))
        url = made.new()
        made.keep_what_is_committed()
        engine = stack.enter_context(engine_of(url))
        chaos = Chaos(made, url, asked, folder)
        stack.callback(chaos.close)
        yield chaos, engine


def _key(kind: str, seed: int, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{kind}, {asked.requests} requests, {asked.kills} kills",
        "solver": OURS,
        "seed": seed,
        "seconds": asked.seconds,
        "threads": asked.workers,
    }


def _row(kind: str, found: Ends, deeds: Deeds, chaos: Chaos) -> dict[str, Any]:
    kills = sum(deeds.done[deed] for deed in KILLS)
    return {
        "value": kills,
        "database": kind,
        "requests": found.statuses.total(),
        "statuses": {status.value: count for status, count in found.statuses.items()},
        "attempts": found.attempts,
        "retried": found.retried,
        "worked_s": round(found.worked_s, 2),
        "kills": kills,
        "deeds": {deed.value: deeds.done[deed] for deed in Deed},
        "restarts": chaos.restarts,
        "api_kills": chaos.api_kills,
    }


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """What was done, and what became of the requests."""
    yield FigureTable(
        "chaos: planning requests under kill -9 of workers, children, the service and the database",
        (
            *(
                "database",
                "requests",
                "finished",
                "attempts",
                "kills",
                "child searching",
                "claim to first beat",
            ),
            *("writing a result", "worker searching", "stopped past the lease", "database restarted"),
            *("service killed", "least work s", "wall s"),
        ),
        tuple(_line(row) for row in rows),
        (
            "; ".join(f"{deed.value}: {told}" for deed, told in MEANT.items()) + ".",
            "At the end every request that was asked for is there once, has ended once and has one result, "
            "whose sequences are all there are; no process goes on.",
        ),
    )


def _line(row: JsonRow) -> tuple[str, ...]:
    deeds = row["deeds"]
    return (
        f"{row['database']}, seed {row['seed']}, {row['threads']} workers",
        f"{row['requests']}",
        f"{row['statuses'].get('finished', 0)}",
        f"{row['attempts']}",
        f"{row['kills']}",
        *(f"{deeds[deed]}" for deed in (Deed.CHILD, Deed.EARLY, Deed.WRITING, Deed.WORKER, Deed.PAUSE)),
        f"{row['restarts']}",
        f"{row['api_kills']}",
        seconds(row["worked_s"]),
        seconds(row["wall_s"]),
    )
