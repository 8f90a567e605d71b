"""How soon a search has what it ends with: seconds and work until within 1 % of its own final result."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from statistics import median

from rich.console import Console

from solver.account import account
from solver.search.solve import Progress
from tests.bench.checked_sequences import refuse_wrong
from tests.bench.day_search import WEIGHTS, DayEffort, compile_for, searched
from tests.bench.entry import OURS
from tests.bench.results import by_effort, effort_title
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.shop_days import shop_day
from tests.bench.tables import FigureTable, seconds
from tests.bench.versions import circumstances

NAME = "quality"
HELP = "Days of 60 jobs on 3 lines: the time until a search is within 1 % of what it ends with."
DAYS = ("60/3 tight", "60/3 tight 2", "60/3 tight 3", "60/3 loose", "60/3 loose 2")
NEAR = 0.01


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=60.0, help="Of each search, by the wall clock.")
    parser.add_argument("--seeds", type=int, default=3, help="Searches of each day.")
    parser.add_argument("--threads", type=int, default=2, help="Of each search.")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="These days alone, such as '60/3 tight 2'.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every day with every seed; the rows of this effort."""
    file = RowFile(asked.json, asked.command)
    for name in asked.only or DAYS:
        for seed in range(asked.seeds):
            effort = DayEffort(asked.seconds, seed, asked.threads)
            key = _key(name, effort)
            if not file.has(**key):
                file.add(key | _measured(name, effort) | circumstances())
                console.print(_told(file.rows[-1]))
    return file.of_effort(NAME, asked.seconds, asked.threads)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """Seconds and work to near the end, by day."""
    for alike in by_effort(rows):
        names = dict.fromkeys(row["instance"] for row in alike)
        yield FigureTable(
            effort_title("within 1 % of the final result", alike),
            ("day", "final €", "seconds", "worst", "work", "seconds, 1 % of controllable", "work in all"),
            tuple(_line(name, [row for row in alike if row["instance"] == name]) for name in names),
            (
                "Until a search has as few faults as at its end and a weighed cost within 1 % of its last; "
                "medians over the seeds. Running time is a large part of a weighed cost: the last but one "
                "column asks for 1 % of the controllable part.",
            ),
        )


def first_within(told: Sequence[Progress], final: Progress, slack_eur: float) -> Progress:
    """The first progress with as few faults as the final one and a cost at most so much above it."""
    for progress in told:
        if progress.left_out <= final.left_out and progress.best_eur <= final.best_eur + slack_eur:
            return progress
    return final


def _key(name: str, effort: DayEffort) -> JsonRow:
    limits = {"seconds": effort.seconds, "threads": effort.threads}
    return {"bench": NAME, "instance": name, "solver": OURS, "seed": effort.seed, **limits}


def _measured(name: str, effort: DayEffort) -> JsonRow:
    day = shop_day(name)
    compile_for(day.problem)
    told: list[Progress] = []
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    found = searched(day.problem, WEIGHTS, effort, told.append)
    times = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
    sequence = account(day.problem, found.order, WEIGHTS)
    refuse_wrong(name, day.problem, sequence, WEIGHTS, found.eur)
    faults = len(sequence.left_out) + len(sequence.broken_locks)
    weighed_eur, controllable_eur = float(sequence.weighed_eur), float(sequence.cost.controllable_eur)
    final = Progress(weighed_eur, faults, found.work, times["wall_s"])
    near = first_within(told, final, NEAR * weighed_eur)
    nearer = first_within(told, final, NEAR * controllable_eur)
    return {
        "value": round(near.elapsed_s, 3),
        "near_work": near.work,
        "nearer_s": round(nearer.elapsed_s, 3),
        "nearer_work": nearer.work,
        "jobs": day.jobs,
        "lines": day.lines,
        "weighed_eur": weighed_eur,
        "controllable_eur": controllable_eur,
        "faults": faults,
        "work": found.work,
        **{key: round(time_s, 3) for key, time_s in times.items()},
    }


def _told(row: JsonRow) -> str:
    near = f"near it after {row['value']:.1f} s and {row['near_work']:,} of {row['work']:,} orders or changes"
    return f"{row['instance']}, seed {row['seed']}: {row['weighed_eur']:,.0f} €, {near}"


def _line(name: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    return (
        name,
        f"{median(row['weighed_eur'] for row in rows):,.0f}",
        seconds(median(row["value"] for row in rows)),
        seconds(max(row["value"] for row in rows)),
        f"{median(row['near_work'] for row in rows):,.0f}",
        seconds(median(row["nearer_s"] for row in rows)),
        f"{median(row['work'] for row in rows):,.0f}",
    )
