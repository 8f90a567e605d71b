"""Queues of one line with every feature on: the search beside orders that nobody searched for."""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from rich.console import Console

from solver.account import account_with
from solver.search.annealing_islands import annealing_islands, dispatching
from solver.search.compile import CompiledPlant
from solver.search.islands import no_halt
from solver.search.plant_search import plain_starts, search_plant
from solver.search.stop import Stop
from solver.sequence import Order
from solver.weights import GOALS
from tests.bench.checked_sequences import refuse_wrong
from tests.bench.entry import OURS
from tests.bench.results import by_effort, effort_title
from tests.bench.row_file import JsonRow, RowFile
from tests.bench.search_runs import add_json_option
from tests.bench.tables import FigureTable, percent, seconds
from tests.bench.versions import circumstances
from tests.builders.days import one_line_day

NAME = "line"
HELP = "Queues of one line with every feature on, beside both baselines and dispatching."
QUEUES = ((30, 5), (30, 6), (60, 5), (60, 7), (200, 5), (200, 8))
"""Jobs and seed of the queues."""
GOAL = "balanced"
BY_DUE_TIME, AS_ENTERED, DISPATCHED = "by due time", "as entered", "dispatched"
WARM_UP_WORK = 100


@dataclass(frozen=True)
class Asked:
    """One search of one queue."""

    compiled: CompiledPlant
    seconds: float
    seed: int
    threads: int


@dataclass(frozen=True)
class Found:
    """An order, what it is said to cost, and the changes that were tried for it."""

    order: Order
    eur: float | None = None
    work: int = 0


def searched(asked: Asked) -> Found:
    """What the search finds in the time allowed."""
    stop = Stop(time_s=asked.seconds)
    found = search_plant(asked.compiled, plain_starts(asked.compiled), stop, asked.seed, asked.threads)
    return Found(found.order, found.eur, found.work)


def dispatched(asked: Asked) -> Found:
    """The best of the orders by dispatching that the search begins with."""
    islands = annealing_islands(asked.compiled, plain_starts(asked.compiled), asked.seed, no_halt())
    for stage in dispatching(islands):
        for task in stage:
            task()
    (_, eur), order = islands[0].best
    return Found(asked.compiled.order(order), eur)


def by_due_time(asked: Asked) -> Found:
    """Soonest due first."""
    return Found(asked.compiled.order(plain_starts(asked.compiled)[0]))


def as_entered(asked: Asked) -> Found:
    """The queue as it is."""
    return Found(asked.compiled.order(plain_starts(asked.compiled)[1]))


SOLVERS: dict[str, Callable[[Asked], Found]] = {
    OURS: searched,
    DISPATCHED: dispatched,
    BY_DUE_TIME: by_due_time,
    AS_ENTERED: as_entered,
}
"""All but the first give the same order for every seed."""


def options(parser: argparse.ArgumentParser) -> None:
    """What the bench can be asked for."""
    parser.add_argument("--seconds", type=float, default=10.0, help="Of each search, by the wall clock.")
    parser.add_argument("--seeds", type=int, default=3, help="Searches of each queue.")
    parser.add_argument("--threads", type=int, default=2, help="Of each search.")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="These queues alone.")
    add_json_option(parser)


def run(asked: argparse.Namespace, console: Console) -> list[JsonRow]:
    """Every queue with every seed, and once in the orders nobody searched for; the rows of this effort."""
    file = RowFile(asked.json, asked.command)
    for name, jobs, day_seed in _chosen(asked.only):
        compiled: CompiledPlant | None = None
        for solver, seed in _trials(asked.seeds):
            key = _key(name, solver, seed, asked)
            if file.has(**key):
                continue
            if compiled is None:
                compiled = CompiledPlant(one_line_day(day_seed, jobs), GOALS[GOAL])
                _warm_up(compiled)
            file.add(key | _measured(name, solver, Asked(compiled, asked.seconds, seed, asked.threads)))
            console.print(_told(file.rows[-1]))
    return file.of_effort(NAME, asked.seconds, asked.threads)


def tables(rows: Sequence[JsonRow]) -> Iterator[FigureTable]:
    """What orders cost, weighed, and what the search saves on the best of the others."""
    for alike in by_effort(rows):
        names = dict.fromkeys(row["instance"] for row in alike)
        lines = [_line(name, [row for row in alike if row["instance"] == name]) for name in names]
        yield FigureTable(
            effort_title("one line, every feature on, weighed €", alike),
            (
                *("queue", "median", "worst", "dispatched", "by due time", "as entered", "saving"),
                *("changes", "wall s", "CPU s"),
            ),
            tuple(lines),
            (
                "Saving of the median on the cheapest of the three other orders. "
                "Every order costed by the account and accepted by the checker.",
            ),
        )


def _chosen(only: Sequence[str] | None) -> list[tuple[str, int, int]]:
    named = [(f"{jobs} jobs, day {seed}", jobs, seed) for jobs, seed in QUEUES]
    if only is None:
        return named
    unknown = set(only) - {name for name, _, _ in named}
    if unknown:
        raise ValueError(f"no such queue: {', '.join(sorted(unknown))}")
    return [each for each in named if each[0] in only]


def _trials(seeds: int) -> Iterator[tuple[str, int]]:
    for solver in SOLVERS:
        for seed in range(seeds if solver == OURS else 1):
            yield solver, seed


def _key(name: str, solver: str, seed: int, asked: argparse.Namespace) -> JsonRow:
    limits = {"seconds": asked.seconds, "threads": asked.threads}
    return {"bench": NAME, "instance": name, "solver": solver, "seed": seed, **limits}


def _warm_up(compiled: CompiledPlant) -> None:
    """Have the kernels compiled: what that takes is measured by `start`."""
    search_plant(compiled, plain_starts(compiled), Stop(work=WARM_UP_WORK), 0, 1)


def _measured(name: str, solver: str, asked: Asked) -> JsonRow:
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    found = SOLVERS[solver](asked)
    times = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
    compiled = asked.compiled
    sequence = account_with(compiled.scheduler, found.order)
    refuse_wrong(f"{name}, {solver}", compiled.problem, sequence, compiled.scheduler.weights, found.eur)
    return {
        "value": float(sequence.weighed_eur),
        "jobs": len(compiled.problem.jobs),
        "left_out": len(sequence.left_out),
        "work": found.work,
        **{key: round(time_s, 3) for key, time_s in times.items()},
        **circumstances(),
    }


def _told(row: JsonRow) -> str:
    trial = f"{row['instance']}, {row['solver']}, seed {row['seed']}"
    return f"{trial}: {row['value']:,.0f} €, {row['wall_s']:.1f} s"


def _line(name: str, rows: Sequence[JsonRow]) -> tuple[str, ...]:
    ours = [row for row in rows if row["solver"] == OURS]
    others = {row["solver"]: row["value"] for row in rows if row["solver"] != OURS}
    values = [row["value"] for row in ours]
    saving = 1 - median(values) / min(others.values())
    return (
        name,
        f"{median(values):,.0f}",
        f"{max(values):,.0f}",
        *(f"{others[solver]:,.0f}" for solver in (DISPATCHED, BY_DUE_TIME, AS_ENTERED)),
        percent(saving),
        f"{median(row['work'] for row in ours):,.0f}",
        seconds(median(row["wall_s"] for row in ours)),
        seconds(median(row["cpu_s"] for row in ours)),
    )
