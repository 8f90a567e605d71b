"""The search of a plant: its queue compiled, its islands, and the best order they find."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from solver.baselines import as_entered, by_due_time
from solver.search.annealing_islands import annealing_islands, annealing_rounds, dispatching
from solver.search.bounding import TIME_SHARE, WEAK_TIME_SHARE, Bounding, LeastCosts, reached
from solver.search.compile import CompiledPlant
from solver.search.islands import Found, Halt, Island, Rounds, Score, Task, no_halt, search_islands
from solver.search.kernels.tables import NEVER_MS, Ints
from solver.search.line_bound import least_costs
from solver.search.pairwise import Pairwise, as_pairwise, is_never_late
from solver.search.path_islands import path_islands, path_rounds
from solver.search.stop import Stop
from solver.search.tour_islands import tour_islands, tour_rounds
from solver.sequence import Order


@dataclass(frozen=True, slots=True)
class PlantFound:
    """An order of a plant: jobs left out and locks broken, weighed cost, and the work it took; `bound_eur` is
    what no order undercuts, None where that is not known. `others` are the best orders of all islands.
    """

    order: Order
    faults: int
    eur: float
    work: int
    elapsed_s: float
    bound_eur: float | None = None
    others: tuple[Order, ...] = ()


def plain_starts(compiled: CompiledPlant) -> list[Ints]:
    """The queue by due time, and as it was entered, every job at its first stations: the baselines."""
    if len(compiled.lines) == 1:
        # No run has to be placed in time to know where the next one goes.
        return [compiled.numbered([order.tolist()]) for order in _plain_orders(compiled)]
    return [compiled.numbers(baseline(compiled.problem)) for baseline in (by_due_time, as_entered)]


def _plain_orders(compiled: CompiledPlant) -> list[Ints]:
    job_plans = compiled.lines[0].job_plans
    jobs = np.flatnonzero(job_plans[:, 1] > job_plans[:, 0])
    due_ms = [NEVER_MS if (due := compiled.problem.jobs[job].due_ms) is None else due for job in jobs]
    by_due = jobs[np.argsort(np.array(due_ms, np.int64), kind="stable")]
    return [job_plans[order, 0] for order in (by_due, jobs)]


def search_plant(
    compiled: CompiledPlant,
    starts: Sequence[Ints],
    stop: Stop,
    seed: int,
    threads: int | None,
    on_progress: Callable[[PlantFound], None] | None = None,
    bounded: bool = True,
) -> PlantFound:
    """Order a plant's queue; never worse than the best of `starts`, of which there is at least one.

    Without a bound there is more time for the search, and none is known.
    """
    halt = no_halt()
    pairwise = as_pairwise(compiled.lines[0]) if len(compiled.lines) == 1 else None
    islands: Sequence[Island]
    if pairwise is None:
        bounding = Bounding(partial(_least_costs, compiled), WEAK_TIME_SHARE, stop, halt)
        annealing = annealing_islands(compiled, starts, seed, halt)
        islands, rounds = annealing, annealing_rounds(compiled.room)
        opening = _opening(bounding, dispatching(annealing)) if bounded else iter(())
    else:
        costs = LeastCosts(pairwise.fixed_eur, pairwise.with_gap)
        bounding = Bounding(lambda: costs, TIME_SHARE, stop, halt)
        islands, rounds = _pairwise_islands(compiled, pairwise, starts, seed, halt)
        opening = _opening(bounding, [[]]) if bounded else iter(())

    def least() -> Score | None:
        if bounding.value is None:
            return None
        eur = reached(bounding.value)
        return (0.0, eur) if pairwise is None else (eur - pairwise.fixed_eur,)

    def plant_found(found: Found) -> PlantFound:
        faults, eur = 0.0, found.score[-1]
        if pairwise is None:
            faults, order = found.score[0], compiled.order(found.order)
        else:
            eur += pairwise.fixed_eur
            order = compiled.lines[0].order(pairwise.numbers[found.order])
        # An order that leaves a job out may cost less than all that do not.
        bound_eur = None if bounding.value is None or faults else min(eur, bounding.value)
        return PlantFound(order, int(faults), eur, found.work, found.elapsed_s, bound_eur)

    def report(found: Found) -> None:
        if on_progress is not None:
            on_progress(plant_found(found))

    found = plant_found(search_islands(islands, rounds, stop, halt, threads, report, opening, least))
    bests = [island.best[1] for island in islands]
    if pairwise is None:
        return replace(found, others=tuple(map(compiled.order, bests)))
    return replace(found, others=tuple(compiled.lines[0].order(pairwise.numbers[best]) for best in bests))


def improved_order(compiled: CompiledPlant, order: Order, stop: Stop, seed: int) -> Order:
    """The best order that one island finds from an order, jobs that are missing in it left out."""
    start = compiled.numbers(order)
    if not start[: len(compiled.lines)].any():
        return compiled.order(start)
    halt = no_halt()
    islands = annealing_islands(compiled, [start], seed, halt)[:1]
    found = search_islands(islands, annealing_rounds(compiled.room), stop, halt, threads=1)
    return compiled.order(found.order)


def _least_costs(compiled: CompiledPlant) -> LeastCosts | None:
    return least_costs(compiled.lines[0]) if len(compiled.lines) == 1 else None


def _opening(bounding: Bounding, stages: Iterable[Sequence[Task]]) -> Iterator[Sequence[Task]]:
    """Stages, with the bound beside the first."""
    for idx, stage in enumerate(stages):
        yield stage if idx else [bounding.find, *stage]


def _pairwise_islands(
    compiled: CompiledPlant, pairwise: Pairwise, orders: Sequence[Ints], seed: int, halt: Halt
) -> tuple[list[Island], Rounds]:
    costs = pairwise.costs
    runs = len(pairwise.numbers)
    if is_never_late(compiled.lines[0]):
        islands = tour_islands(pairwise.with_gap, True, costs.least_gain, seed, halt)
        rounds = tour_rounds(runs)
    else:
        islands, rounds = path_islands(costs, seed, halt), path_rounds(runs)
    job_of = {int(number): job for job, number in enumerate(pairwise.numbers)}
    for order in orders:
        numbers = compiled.line_numbers(order)[0]
        jobs = np.array([job_of[int(number)] for number in numbers], np.int64)
        for island in islands:
            island.adopt(jobs)
    return islands, rounds
