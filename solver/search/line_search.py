"""The search of one line: its queue compiled, its islands, and the best order they find."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from solver.search.bounding import TIME_SHARE, WEAK_TIME_SHARE, Bounding, LeastCosts, reached
from solver.search.compile import CompiledLine
from solver.search.islands import Found, Halt, Island, Rounds, Score, Task, no_halt, search_islands
from solver.search.kernels.tables import NEVER_MS, Ints
from solver.search.line_bound import least_costs
from solver.search.line_islands import dispatching, line_islands, line_rounds
from solver.search.pairwise import Pairwise, as_pairwise, is_never_late
from solver.search.path_islands import path_islands, path_rounds
from solver.search.stop import Stop
from solver.search.tour_islands import tour_islands, tour_rounds
from solver.sequence import Order


@dataclass(frozen=True, slots=True)
class LineFound:
    """An order of a line: jobs left out and locks broken, weighed cost, and the work it took; `bound_eur` is
    what no order undercuts, None where that is not known.
    """

    order: Order
    faults: int
    eur: float
    work: int
    elapsed_s: float
    bound_eur: float | None = None


def plain_starts(compiled: CompiledLine) -> list[Ints]:
    """A line's queue by due time, and as it was entered, every job at its first stations.

    They are the baselines of a single line, which need no run placed in time.
    """
    jobs = np.flatnonzero(compiled.job_plans[:, 1] > compiled.job_plans[:, 0])
    due_ms = [NEVER_MS if (due := compiled.problem.jobs[job].due_ms) is None else due for job in jobs]
    by_due_time = jobs[np.argsort(np.array(due_ms, np.int64), kind="stable")]
    return [compiled.job_plans[order, 0] for order in (by_due_time, jobs)]


def search_line(
    compiled: CompiledLine,
    starts: Sequence[Ints],
    stop: Stop,
    seed: int,
    threads: int | None,
    on_progress: Callable[[LineFound], None] | None = None,
) -> LineFound:
    """Order one line's queue; never worse than the best of `starts`, of which there is at least one."""
    halt = no_halt()
    pairwise = as_pairwise(compiled)
    islands: Sequence[Island]
    if pairwise is None:
        bounding = Bounding(partial(least_costs, compiled), WEAK_TIME_SHARE, stop, halt)
        annealing = line_islands(compiled, starts, seed, halt)
        islands, rounds = annealing, line_rounds(len(starts[0]))
        opening = _opening(bounding, dispatching(annealing))
    else:
        costs = LeastCosts(pairwise.fixed_eur, pairwise.with_gap)
        bounding = Bounding(lambda: costs, TIME_SHARE, stop, halt)
        islands, rounds = _pairwise_islands(compiled, pairwise, starts, seed, halt)
        opening = _opening(bounding, [[]])

    def least() -> Score | None:
        if bounding.value is None:
            return None
        eur = reached(bounding.value)
        return (0.0, eur) if pairwise is None else (eur - pairwise.fixed_eur,)

    def line_found(found: Found) -> LineFound:
        numbers, faults, eur = found.order, 0.0, found.score[-1]
        if pairwise is None:
            faults = found.score[0]
        else:
            numbers, eur = pairwise.numbers[found.order], eur + pairwise.fixed_eur
        # An order that leaves a job out may cost less than all that do not.
        bound_eur = None if bounding.value is None or faults else min(eur, bounding.value)
        return LineFound(compiled.order(numbers), int(faults), eur, found.work, found.elapsed_s, bound_eur)

    def report(found: Found) -> None:
        if on_progress is not None:
            on_progress(line_found(found))

    return line_found(search_islands(islands, rounds, stop, halt, threads, report, opening, least))


def _opening(bounding: Bounding, stages: Iterable[Sequence[Task]]) -> Iterator[Sequence[Task]]:
    """Stages, with the bound beside the first."""
    for idx, stage in enumerate(stages):
        yield stage if idx else [bounding.find, *stage]


def _pairwise_islands(
    compiled: CompiledLine, pairwise: Pairwise, orders: Sequence[Ints], seed: int, halt: Halt
) -> tuple[list[Island], Rounds]:
    costs = pairwise.costs
    runs = len(pairwise.numbers)
    if is_never_late(compiled):
        islands = tour_islands(pairwise.with_gap, True, costs.least_gain, seed, halt)
        rounds = tour_rounds(runs)
    else:
        islands, rounds = path_islands(costs, seed, halt), path_rounds(runs)
    job_of = {int(number): job for job, number in enumerate(pairwise.numbers)}
    for order in orders:
        jobs = np.array([job_of[int(number)] for number in order], np.int64)
        for island in islands:
            island.adopt(jobs)
    return islands, rounds
