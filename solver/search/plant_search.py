"""The search of a plant: its queue compiled, its islands, and the best order they find."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from solver.baselines import as_entered, as_in_force, by_due_time
from solver.schedule import Scheduler
from solver.search.annealing_islands import annealing_islands, annealing_rounds, dispatching
from solver.search.bounding import TIME_SHARE, WEAK_TIME_SHARE, Bounding, LeastCosts, reached
from solver.search.compile import CompiledPlant
from solver.search.exact_line import LineProver
from solver.search.exact_paths import PathProver
from solver.search.islands import (
    Beside,
    Found,
    Halt,
    Island,
    Rounds,
    Score,
    Scored,
    Task,
    no_beside,
    no_halt,
    search_islands,
)
from solver.search.kernels.tables import NEVER_MS, Ints
from solver.search.late_bound import least_late_eur
from solver.search.line_bound import line_least
from solver.search.pairwise import Pairwise, as_pairwise, is_never_late
from solver.search.path_islands import path_islands, path_rounds
from solver.search.plant_bound import least_costs
from solver.search.proving import Prover, Proving, by_margin
from solver.search.rest_costs import MOST_JOBS
from solver.search.stop import Stop
from solver.search.tour_islands import tour_islands, tour_rounds
from solver.search.tour_prover import TourProver
from solver.search.windows import Windows
from solver.sequence import Order
from solver.weights import Weights


@dataclass(frozen=True, slots=True)
class PlantFound:
    """An order of a plant: jobs left out and locks broken, weighed cost, and the work it took; `bound_eur` is
    what no order undercuts, None where that is not known. `others` are the best orders of all islands. What
    chosen rolls cost is in both, though islands and bounds leave it out: no order changes it.
    """

    order: Order
    faults: int
    eur: float
    work: int
    elapsed_s: float
    bound_eur: float | None = None
    others: tuple[Order, ...] = ()


def plain_starts(compiled: CompiledPlant) -> list[Ints]:
    """The baselines: the queue by due time, and as it was entered, every job at its first stations; and as
    the sequence in force has it, where there is one.
    """
    problem, plain = compiled.problem, Weights()
    scheduler = compiled.scheduler if compiled.weights == plain else Scheduler(problem, plain)
    in_force = as_in_force(problem, scheduler)
    kept = [] if in_force is None else [compiled.numbers(in_force)]
    if len(compiled.lines) == 1:
        # No run has to be placed in time to know where the next one goes.
        return [*(compiled.numbered([order.tolist()]) for order in _plain_orders(compiled)), *kept]
    plain_orders = (baseline(problem, scheduler) for baseline in (by_due_time, as_entered))
    return [*map(compiled.numbers, plain_orders), *kept]


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
    way = (
        _annealing(compiled, starts, stop, seed, halt)
        if pairwise is None
        else _matrix(compiled, pairwise, starts, stop, seed, halt)
    )

    stub_cost = compiled.problem.stub_cost
    stubs_eur = 0.0 if stub_cost is None else float(stub_cost.weighed_eur)

    def plant_found(found: Found) -> PlantFound:
        faults, eur = sum(found.score[:-1]), found.score[-1] + way.fixed_eur + stubs_eur
        # An order that leaves a job out may cost less than all that do not.
        bound_eur = None if way.bound_eur is None or faults else min(eur, way.bound_eur + stubs_eur)
        order = way.order(found.order)
        return PlantFound(order, int(faults), eur, found.work, found.elapsed_s, bound_eur)

    def report(found: Found) -> None:
        if on_progress is not None:
            on_progress(plant_found(found))

    found = search_islands(
        way.islands,
        way.rounds,
        stop,
        halt,
        threads,
        report,
        opening=way.opening if bounded else (),
        least=way.least,
        beside=way.beside if bounded else no_beside,
    )
    return replace(plant_found(found), others=tuple(way.order(island.best[1]) for island in way.islands))


@dataclass(frozen=True)
class _Way:
    """How a plant is searched.

    Parameters
    ----------
    order
        What stands behind an island's order.
    opening
        What is done before the first round.
    fixed_eur
        What islands do not count, for no order changes it.
    proving
        The proofs tried beside the islands; None where there are none. `beside` is what is done there.
    """

    islands: Sequence[Island]
    rounds: Rounds
    order: Callable[[Any], Order]
    opening: Iterable[Sequence[Task]]
    bounding: Bounding
    proving: Proving | None
    beside: Beside
    fixed_eur: float = 0.0

    @property
    def bound_eur(self) -> float | None:
        """What no order that leaves nothing out undercuts; None where that is not known."""
        if self.proving is None or self.proving.value is None:
            return self.bounding.value
        return max(by_margin(self.proving.value + self.fixed_eur), self.bounding.value or 0.0)

    def least(self) -> Score | None:
        """The score that no order undercuts, as islands count; None where that is not known."""
        if self.bound_eur is None:
            return None
        eur = reached(self.bound_eur) - self.fixed_eur
        faults = self.islands[0].best[0][:-1]
        return (*(0.0 for _ in faults), eur)


class _BoundFirst:
    """A weak bound beside the first rounds: good orders do not wait for it. Then what else is done there."""

    def __init__(self, bounding: Bounding, beside: Beside) -> None:
        self._bounding = bounding
        self._beside = beside
        self._is_bounded = False

    def begin(self, found: Found) -> Callable[[], Scored | None] | None:
        """What is to be done next."""
        if self._is_bounded:
            return self._beside(found)
        self._is_bounded = True
        return self._bound

    def _bound(self) -> None:
        self._bounding.find()


def _annealing(compiled: CompiledPlant, starts: Sequence[Ints], stop: Stop, seed: int, halt: Halt) -> _Way:
    """Any plant: islands that anneal."""
    islands = annealing_islands(compiled, starts, seed, halt)
    bounding = Bounding(partial(least_costs, compiled), WEAK_TIME_SHARE, stop, halt)
    proving: Proving | None = None
    beside: Beside = no_beside
    if len(compiled.lines) == 1:
        line = compiled.lines[0]
        proving = Proving(LineProver(line), by_margin, stop, halt)
        is_long = int(starts[0][0]) > MOST_JOBS
        beside = Windows(line, halt).begin if is_long else proving.begin
    return _Way(
        islands=islands,
        rounds=annealing_rounds(compiled.room),
        order=compiled.order,
        opening=dispatching(islands),
        bounding=bounding,
        proving=proving,
        beside=_BoundFirst(bounding, beside).begin,
    )


def _matrix(
    compiled: CompiledPlant, pairwise: Pairwise, starts: Sequence[Ints], stop: Stop, seed: int, halt: Halt
) -> _Way:
    """A line whose queue is a matrix."""
    line = compiled.lines[0]
    islands, rounds = _pairwise_islands(compiled, pairwise, starts, seed, halt)
    bounding = Bounding(partial(_pairwise_costs, compiled, pairwise), TIME_SHARE, stop, halt)
    prover: Prover = PathProver(pairwise.costs)
    if is_never_late(line):
        prover = TourProver(pairwise.with_gap, True, bounding)
    proving = Proving(prover, by_margin, stop, halt)
    return _Way(
        islands=islands,
        rounds=rounds,
        order=lambda places: line.order(pairwise.numbers[places]),
        opening=[[bounding.find]],
        bounding=bounding,
        proving=proving,
        beside=proving.begin,
        fixed_eur=pairwise.fixed_eur,
    )


def improved_order(compiled: CompiledPlant, order: Order, stop: Stop, seed: int) -> Order:
    """The best order that one island finds from an order, jobs that are missing in it left out."""
    start = compiled.numbers(order)
    if not start[: len(compiled.lines)].any():
        return compiled.order(start)
    halt = no_halt()
    islands = annealing_islands(compiled, [start], seed, halt)[:1]
    found = search_islands(islands, annealing_rounds(compiled.room), stop, halt, threads=1)
    return compiled.order(found.order)


def _pairwise_costs(compiled: CompiledPlant, pairwise: Pairwise) -> LeastCosts:
    """A matrix is what its orders cost."""
    line, late_eur = compiled.lines[0], 0.0
    if not is_never_late(line) and (least := line_least(line)) is not None:
        late_eur = least_late_eur(compiled, [least])
    return LeastCosts(pairwise.fixed_eur + late_eur, pairwise.with_gap)


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
