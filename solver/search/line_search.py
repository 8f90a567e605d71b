"""The search of one line: its queue compiled, its islands, and the best order they find."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from solver.search.bounding import MARGIN, Bounding
from solver.search.compile import CompiledLine
from solver.search.islands import Found, Halt, Island, Rounds, Score, Task, no_halt, search_islands
from solver.search.kernels.tables import NEVER_MS, Ints
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
    opening: Iterable[Sequence[Task]] = ()
    bounding: Bounding | None = None
    if pairwise is None:
        annealing = line_islands(compiled, starts, seed, halt)
        islands, rounds, opening = annealing, line_rounds(len(starts[0])), dispatching(annealing)
    else:
        islands, rounds = _pairwise_islands(compiled, pairwise, starts, seed, halt)
        bounding = Bounding(pairwise.with_gap, stop, halt)
        opening = [[bounding.find]]

    def least() -> Score | None:
        """What an order costs that reaches the bound; late costs come on top of it."""
        if bounding is None or bounding.value is None:
            return None
        return (bounding.value * (1 + 2 * MARGIN),)

    def line_found(found: Found) -> LineFound:
        if pairwise is None:
            faults, eur = found.score
            return LineFound(compiled.order(found.order), int(faults), eur, found.work, found.elapsed_s)
        order = compiled.order(pairwise.numbers[found.order])
        eur = found.score[0] + pairwise.fixed_eur
        bound_eur = None
        if bounding is not None and bounding.value is not None:
            bound_eur = min(eur, bounding.value + pairwise.fixed_eur * (1 - MARGIN))
        return LineFound(order, 0, eur, found.work, found.elapsed_s, bound_eur)

    def report(found: Found) -> None:
        if on_progress is not None:
            on_progress(line_found(found))

    return line_found(search_islands(islands, rounds, stop, halt, threads, report, opening, least))


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
