"""What planning requests take of a machine: time, processors, memory and bytes that are kept."""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import Any, Final

from rich.console import Console
from sqlalchemy import Engine, text

from app.store.engine import SQLITE, is_sqlite
from tests.bench.entry import OURS
from tests.bench.followed_request import ENDS, Asker
from tests.bench.load_rows import engine_of
from tests.bench.process_tree import PROC, cpu_s, descendants
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.service_databases import KINDS, databases
from tests.bench.service_plant import send_sample, with_plant
from tests.bench.service_process import running, served
from tests.bench.service_worker import WorkerProcess, working
from tests.bench.tables import FigureTable
from tests.bench.versions import SERVICE_PACKAGES, circumstances

NAME = "capacity"
HELP = "What planning requests take: how many an hour, processors, memory, bytes kept; by slots of a worker."
LOOK_EVERY_S: Final = 0.2
MB: Final = 1024.0


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=20.0, help="Of each search.")
    parser.add_argument("--requests", type=int, default=4, help="Asked for at once.")
    parser.add_argument("--slots", type=int, nargs="+", default=[1, 2], help="Of the worker, in turn.")
    parser.add_argument("--idle-s", type=float, default=10.0, help="That a worker has nothing to do before.")
    parser.add_argument("--sample", default="day", help="Whose queue is ordered.")
    parser.add_argument("--databases", nargs="+", choices=KINDS, default=list(KINDS), help="Kinds of them.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """The same requests with every number of slots, on every kind of database."""
    file = RowFile(asked.json, asked.command)
    for kind in asked.databases:
        for slots in asked.slots:
            key = _key(kind, slots, asked)
            if not file.has(**key):
                file.add(key | _measured(kind, slots, asked) | circumstances(SERVICE_PACKAGES))
                console.print(f"{kind}, slots: {slots}")
    return [row for row in file.rows if row["bench"] == NAME]


def _key(kind: str, slots: int, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{asked.sample} on {kind}, {asked.requests} requests",
        "solver": OURS,
        "seed": 0,
        "seconds": asked.seconds,
        "threads": slots,
    }


def _measured(kind: str, slots: int, asked: argparse.Namespace) -> dict[str, Any]:
    with ExitStack() as stack:
        url = stack.enter_context(databases(kind)).new()
        api_key = with_plant(url)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="runwright-capacity-")))
        process = stack.enter_context(running(served(url)))
        send_sample(process.port, api_key, asked.sample)
        worker = stack.enter_context(closing(working(url, "bench", folder / "log", {}, slots=slots)))
        worker.wait_until_ready()
        idle = _Idle.of(worker, asked.idle_s)
        engine = stack.enter_context(engine_of(url))
        asker = Asker(process.port, api_key, asked.seconds, alternatives=3, reasons=True)
        stack.enter_context(closing(asker))
        before_bytes, watch = _bytes_kept(engine), _Watch(worker)
        ids = [asker.ask() for _ in range(asked.requests)]
        _until_over(asker, ids, watch)
        over = [asker.read(id) for id in ids]
        return {
            "value": round(3600 * len(over) / _span_s(over), 1),
            "turnaround_s": [round(_seconds(each["started_at"], each["ended_at"]), 2) for each in over],
            "cpu_s": round(watch.used_s / len(over), 1),
            "child_mb": round(watch.child_kb / MB),
            "idle_mb": idle.mb,
            "idle_cpu_ms_a_s": idle.cpu_ms_a_s,
            "kept_kb": round((_bytes_kept(engine) - before_bytes) / MB / len(over)),
            "best_eur": [round(each["progress"]["best_eur"], 1) for each in over if each["progress"]],
            "statuses": sorted(str(each["status"]) for each in over),
        }


@dataclass(frozen=True)
class _Idle:
    """What a worker takes that has nothing to do, with the process that children are forked from."""

    mb: int
    cpu_ms_a_s: float

    @classmethod
    def of(cls, worker: WorkerProcess, idle_s: float) -> _Idle:
        watch, begun_s = _Watch(worker), time.monotonic()
        time.sleep(idle_s)
        watch.look()
        lasted_s = time.monotonic() - begun_s
        below = [pid for pid, _ in descendants(worker.pid)]
        kb = sum(_memory_kb(pid, "Pss:", "smaps_rollup") for pid in (worker.pid, *below))
        return cls(round(kb / MB), round(1000 * watch.used_s / lasted_s, 1))


class _Watch:
    """Processor time and memory of a worker and all below it, looked at again and again: a process that ends
    takes its figures along.
    """

    def __init__(self, worker: WorkerProcess) -> None:
        self._worker = worker
        self._cpu_s: dict[int, float] = {}
        self.child_kb = 0
        self.look()
        self._before = self.cpu_s

    def look(self) -> None:
        """Look at all that are there."""
        for pid, depth in ((self._worker.pid, 0), *descendants(self._worker.pid)):
            with suppress(OSError):  # it has just ended
                self._cpu_s[pid] = cpu_s(pid)
            if depth > 1:
                self.child_kb = max(self.child_kb, _memory_kb(pid, "VmHWM:", "status"))

    @property
    def cpu_s(self) -> float:
        """Processor seconds of all that were seen."""
        return sum(self._cpu_s.values())

    @property
    def used_s(self) -> float:
        """Processor seconds since the first look."""
        return self.cpu_s - self._before


def _until_over(asker: Asker, ids: Sequence[str], watch: _Watch) -> None:
    """Watch until all are over."""
    left = list(ids)
    while left:
        time.sleep(LOOK_EVERY_S)
        watch.look()
        left = [id for id in left if asker.read(id)["status"] not in ENDS]


def _memory_kb(pid: int, name: str, file: str) -> int:
    """A figure of a process, as the kernel tells it; 0 if it has ended."""
    try:
        lines = (PROC / str(pid) / file).read_text(encoding="ascii", errors="replace").splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith(name)), 0)


def _bytes_kept(engine: Engine) -> int:
    """Size of a database; of a SQLite file its pages that hold something."""
    with engine.connect() as connection:
        if not is_sqlite(connection):
            return int(connection.execute(text("SELECT pg_database_size(current_database())")).scalar_one())
        size, pages, free = (
            int(connection.execute(text(f"PRAGMA {name}")).scalar_one())
            for name in ("page_size", "page_count", "freelist_count")
        )
        return size * (pages - free)


def _span_s(over: Sequence[dict[str, Any]]) -> float:
    """From the first start to the last end."""
    first = min(over, key=lambda each: str(each["started_at"]))
    return max(_seconds(first["started_at"], each["ended_at"]) for each in over)


def _seconds(begin: str, end: str) -> float:
    return (datetime.fromisoformat(end) - datetime.fromisoformat(begin)).total_seconds()


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """One line a database and number of slots."""
    yield FigureTable(
        f"capacity: {rows[0]['instance'].split(',')[1].strip()} at once, each searching "
        f"{rows[0]['seconds']:g} s for an order with three alternatives and reasons, one worker",
        (
            *("database, slots", "an hour", "start → end s", "CPU s each", "child MB at most"),
            *("idle worker MB", "idle CPU ms/s", "kept kB each", "best € (median)"),
        ),
        tuple(_line(row) for row in rows),
        (
            "Start to end: the median; beyond the search it chooses rolls, writes papers and reasons. Idle: "
            f"supervisor and the process that children come from, shared pages counted once. {SQLITE}: pages "
            "that hold something.",
        ),
    )


def _line(row: JsonRow) -> tuple[str, ...]:
    return (
        f"{row['instance'].split(',')[0]}, {row['threads']}",
        f"{row['value']:,.0f}",
        f"{median(row['turnaround_s']):.1f}",
        f"{row['cpu_s']:.1f}",
        f"{row['child_mb']:,}",
        f"{row['idle_mb']:,}",
        f"{row['idle_cpu_ms_a_s']:g}",
        f"{row['kept_kb']:,}",
        f"{median(row['best_eur']):,.0f}" if row["best_eur"] else "",
    )
