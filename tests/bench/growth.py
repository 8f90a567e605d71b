"""Longer and longer queues for eight lines: cost beside dispatching, memory, time; a plot of it."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import median
from typing import Any

from rich.console import Console

from tests.bench.day_search import compile_for
from tests.bench.entry import OURS
from tests.bench.growth_plot import Series, growth_plot
from tests.bench.growth_probe import DISPATCHED, long_day
from tests.bench.results import by_effort, effort_title
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.tables import FigureTable, percent, seconds
from tests.bench.versions import circumstances

NAME = "growth"
HELP = "Queues of 100 to 1000 jobs for 8 lines, a process each: cost beside dispatching, memory, a plot."
ROOT = Path(__file__).parents[2]
JOBS, LINES = (100, 200, 400, 700, 1000), 8


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=60.0, help="Of each search, by the wall clock.")
    parser.add_argument("--seeds", type=int, default=1, help="Searches of each queue.")
    parser.add_argument("--threads", type=int, default=2, help="Of each search.")
    parser.add_argument("--jobs", type=int, nargs="+", default=list(JOBS), help="In the queues.")
    parser.add_argument("--lines", type=int, default=LINES, help="Of the shop, 1 to 8.")
    parser.add_argument("--plot", type=Path, help="Where the plot goes, an SVG file.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every queue with every seed and once dispatched, a process each; the rows of this effort."""
    file = RowFile(asked.json, asked.command)
    for jobs in asked.jobs:
        name = f"{jobs}/{asked.lines} tight"
        for solver, seed in _trials(asked.seeds):
            key = _key(name, solver, seed, asked)
            if file.has(**key):
                continue
            if solver == OURS:
                # Here, so that the process that is measured finds its kernels compiled.
                compile_for(long_day(name).problem)
            file.add(key | probe(name, solver, seed, asked) | circumstances())
            console.print(_told(file.rows[-1]))
    rows = file.of_effort(NAME, asked.seconds, asked.threads)
    if asked.plot is not None:
        asked.plot.write_text(growth_plot(plotted(rows)) + "\n", encoding="utf-8")
    return rows


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Cost, memory and time by length of queue."""
    for alike in by_effort(rows):
        names = dict.fromkeys(row["instance"] for row in alike)
        lines = (_line(name, [row for row in alike if row["instance"] == name]) for name in names)
        yield FigureTable(
            effort_title("long queues, controllable €", alike),
            (
                *("day", "jobs", "median", DISPATCHED, "saving", "left out", "locks broken"),
                *("orders or changes", "peak MB", "of it before", "wall s", "CPU s", f"{DISPATCHED} s"),
            ),
            tuple(lines),
            ("A process each; memory counts interpreter, libraries and the drawn day.",),
        )


def plotted(rows: Sequence[JsonRow]) -> list[Series]:
    """Median controllable cost by solver."""
    return [
        Series(
            solver,
            tuple(
                (jobs, median(row["value"] for row in rows if (row["solver"], row["jobs"]) == (solver, jobs)))
                for jobs in sorted({row["jobs"] for row in rows if row["solver"] == solver})
            ),
        )
        for solver in dict.fromkeys(row["solver"] for row in rows)
    ]


def probe(name: str, solver: str, seed: int, asked: argparse.Namespace) -> dict[str, Any]:
    """What a fresh process measures."""
    limits = ("--seconds", str(asked.seconds), "--threads", str(asked.threads), "--seed", str(seed))
    process = subprocess.run(
        (sys.executable, "-m", "tests.bench.growth_probe", "--day", name, "--solver", solver, *limits),
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    found: dict[str, Any] = json.loads(process.stdout)
    return found


def _trials(seeds: int) -> Iterator[tuple[str, int]]:
    for seed in range(seeds):
        yield OURS, seed
    yield DISPATCHED, 0


def _key(name: str, solver: str, seed: int, asked: argparse.Namespace) -> JsonRow:
    limits = {"seconds": asked.seconds, "threads": asked.threads}
    return {"bench": NAME, "instance": name, "solver": solver, "seed": seed, **limits}


def _told(row: JsonRow) -> str:
    trial = f"{row['instance']}, {row['solver']}, seed {row['seed']}"
    return f"{trial}: {row['value']:,.0f} €, {row['wall_s']:.1f} s, {row['peak_mb']:,.0f} MB at most"


def _score(row: JsonRow) -> tuple[int, float]:
    """What orders are compared by: jobs left out and locks broken, then weighed cost."""
    return row["left_out"] + row["broken_locks"], row["weighed_eur"]


def _saving(ours: JsonRow, dispatched: JsonRow) -> str:
    """Share saved; of orders with other faults costs say little."""
    own_faults, other_faults = _score(ours)[0], _score(dispatched)[0]
    if own_faults != other_faults:
        return "fewer faults" if own_faults < other_faults else "more faults"
    return percent(1 - ours["value"] / dispatched["value"]) if dispatched["value"] > 0 else ""


def _line(name: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    ours = sorted((row for row in rows if row["solver"] == OURS), key=_score)
    dispatched = next((row for row in rows if row["solver"] == DISPATCHED), None)
    middle = ours[len(ours) // 2]
    return (
        name,
        str(middle["jobs"]),
        f"{middle['value']:,.0f}",
        "" if dispatched is None else f"{dispatched['value']:,.0f}",
        "" if dispatched is None else _saving(middle, dispatched),
        str(middle["left_out"]),
        str(middle["broken_locks"]),
        f"{middle['work']:,}",
        f"{max(row['peak_mb'] for row in ours):,.0f}",
        f"{middle['before_mb']:,.0f}",
        seconds(middle["wall_s"]),
        seconds(middle["cpu_s"]),
        "" if dispatched is None else seconds(dispatched["wall_s"]),
    )
