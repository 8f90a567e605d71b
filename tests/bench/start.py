"""From the start of a process to its first improvement of an order: with and without compiled kernels."""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from statistics import median
from typing import Any

from rich.console import Console

from tests.bench.entry import OURS
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.tables import FigureTable, seconds
from tests.bench.versions import circumstances

NAME = "start"
HELP = "Fresh processes: import to the first improvement of an order, with and without compiled kernels."
ROOT = Path(__file__).parents[2]
JOBS = 60
COLD, CACHED = "nothing compiled yet", "compiled before"


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=60.0, help="After which a process gives up.")
    parser.add_argument("--seeds", type=int, default=3, help="Processes of each kind.")
    parser.add_argument("--jobs", type=int, default=JOBS, help="In the queue, which is for one line.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Pairs of processes: the first finds an empty cache of kernels, the second what the first left."""
    file = RowFile(asked.json, asked.command)
    for seed in range(asked.seeds):
        keys = [_key(kind, seed, asked) for kind in (COLD, CACHED)]
        if all(file.has(**key) for key in keys):
            continue
        with tempfile.TemporaryDirectory() as kernels:
            for key in keys:
                row = key | _measured(Path(kernels), seed, asked)
                if not file.has(**key):
                    file.add(row)
                    console.print(_told(row))
    return [row for row in file.rows if row["bench"] == NAME]


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Seconds of both kinds of process."""
    kinds = dict.fromkeys(row["instance"] for row in rows)
    yield FigureTable(
        "fresh processes: seconds to the first improvement",
        ("queue, kernels", "processes", "import", "first order", "improved", "worst", "CPU s"),
        tuple(_line(kind, [row for row in rows if row["instance"] == kind]) for kind in kinds),
        ("Counted inside the process from before its first import of the solver; medians.",),
    )


def probe(kernels: Path, seed: int, jobs: int, limit_s: float) -> dict[str, Any]:
    """What a fresh process measures that keeps its kernels in a folder of its own."""
    asked = ("--jobs", str(jobs), "--seed", str(seed), "--seconds", str(limit_s))
    process = subprocess.run(
        (sys.executable, "-m", "tests.bench.start_probe", *asked),
        cwd=ROOT,
        env=os.environ | {"NUMBA_CACHE_DIR": str(kernels)},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    found: dict[str, Any] = json.loads(process.stdout)
    return found


def _key(kind: str, seed: int, asked: argparse.Namespace) -> JsonRow:
    return {
        "bench": NAME,
        "instance": f"{asked.jobs} jobs, {kind}",
        "solver": OURS,
        "seed": seed,
        "seconds": asked.seconds,
        "threads": None,
    }


def _measured(kernels: Path, seed: int, asked: argparse.Namespace) -> JsonRow:
    wall_s = time.perf_counter()
    found = probe(kernels, seed, asked.jobs, asked.seconds)
    outside = {"wall_s": round(time.perf_counter() - wall_s, 3), "jobs": asked.jobs}
    return {"value": found["improved_s"], **found, **outside, **circumstances()}


def _told(row: JsonRow) -> str:
    value = "no improvement" if row["value"] is None else f"improved after {row['value']:.2f} s"
    return f"{row['instance']}, seed {row['seed']}: {value}, import {row['import_s']:.2f} s"


def _line(kind: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    return (
        kind,
        str(len(rows)),
        seconds(median(row["import_s"] for row in rows)),
        _over(median, [row["first_s"] for row in rows]),
        _over(median, [row["improved_s"] for row in rows]),
        _over(max, [row["improved_s"] for row in rows]),
        seconds(median(row["cpu_s"] for row in rows)),
    )


def _over(pick: Callable[[Sequence[float]], float], times_s: Sequence[float | None]) -> str:
    found = [time_s for time_s in times_s if time_s is not None]
    return seconds(pick(found)) if len(found) == len(times_s) else "none in time"
