"""How a large day goes in a process of its own, whose memory is its own; prints figures as JSON.

`python -m tests.bench.growth_probe` is run by the benchmark `growth`, a process a measurement.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from solver.account import account
from solver.locks import Started
from solver.problem import Problem
from solver.search.annealing_islands import annealing_islands, dispatching
from solver.search.compile import CompiledPlant
from solver.search.islands import no_halt
from solver.search.plant_search import plain_starts
from solver.sequence import Order
from tests.bench.checked_sequences import refuse_wrong
from tests.bench.day_search import WEIGHTS, DayEffort, compile_for, searched
from tests.bench.entry import OURS
from tests.bench.shop_days import ShopDay, shop_day

DISPATCHED = "dispatched"
BYTES_PER_MB = 1_000_000


@dataclass(frozen=True)
class Grown:
    """What came of a day.

    Parameters
    ----------
    before_mb, peak_mb
        Memory of the process when its day was drawn, and at most until the search was over.
    """

    jobs: int
    value: float
    weighed_eur: float
    left_out: int
    broken_locks: int
    work: int
    wall_s: float
    cpu_s: float
    before_mb: float
    peak_mb: float


def grown(name: str, solver: str, effort: DayEffort) -> Grown:
    """Order a day and have the order checked."""
    day = long_day(name)
    compile_for(day.problem)
    before_mb = peak_mb()
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    order, eur, work = _searched(day, effort) if solver == OURS else _dispatched(day)
    times = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
    most_mb = peak_mb()
    sequence = account(day.problem, order, WEIGHTS)
    refuse_wrong(f"{name}, {solver}", day.problem, sequence, WEIGHTS, eur)
    return Grown(
        jobs=day.jobs,
        value=float(sequence.cost.controllable_eur),
        weighed_eur=float(sequence.weighed_eur),
        left_out=len(sequence.left_out),
        broken_locks=len(sequence.broken_locks),
        work=work,
        before_mb=round(before_mb, 1),
        peak_mb=round(most_mb, 1),
        **{key: round(time_s, 3) for key, time_s in times.items()},
    )


def long_day(name: str) -> ShopDay:
    """A day with its started run and no other lock: dispatching knows none, and orders would not compare."""
    problem = shop_day(name).problem
    started = tuple(lock for lock in problem.locks if isinstance(lock, Started))
    return ShopDay(name, Problem(problem.plant, problem.jobs, started))


def peak_mb() -> float:
    """The most memory that this process has had so far."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    # Told in bytes there, in units of 1024 elsewhere.
    return most / BYTES_PER_MB if sys.platform == "darwin" else most * 1024 / BYTES_PER_MB


def _searched(day: ShopDay, effort: DayEffort) -> tuple[Order, float | None, int]:
    found = searched(day.problem, WEIGHTS, effort)
    return found.order, found.eur, found.work


def _dispatched(day: ShopDay) -> tuple[Order, float | None, int]:
    compiled = CompiledPlant(day.problem, WEIGHTS)
    islands = annealing_islands(compiled, plain_starts(compiled), 0, no_halt())
    for stage in dispatching(islands):
        for task in stage:
            task()
    (_, eur), order = islands[0].best
    return compiled.order(order), eur, 0


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure once and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.growth_probe")
    parser.add_argument("--day", required=True)
    parser.add_argument("--solver", choices=(OURS, DISPATCHED), default=OURS)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--threads", type=int, default=2)
    asked = parser.parse_args(arguments)
    effort = DayEffort(asked.seconds, asked.seed, asked.threads)
    sys.stdout.write(json.dumps(asdict(grown(asked.day, asked.solver, effort))) + "\n")


if __name__ == "__main__":
    main()
