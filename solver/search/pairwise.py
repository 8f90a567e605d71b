"""Lines on which a changeover depends only on the two runs that it lies between.

There a queue is a matrix, and the kernels of matrices order it: nothing has to be placed in time to know
what a move costs.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from solver.plant import AspectRule
from solver.search.compile import CompiledLine
from solver.search.decode import Decoder
from solver.search.kernels.tables import END, NEVER_MS, Floats, Ints
from solver.search.moved_runs import moved_eur, moved_first_eur
from solver.search.path_islands import PathCosts

FEWEST_RUNS = 4
SMALLEST_EUR = 1e-12


class Pairwise(NamedTuple):
    """A queue as a matrix; its jobs are the plans `numbers`, and what no order changes costs `fixed_eur`."""

    numbers: Ints
    costs: PathCosts
    fixed_eur: float

    @property
    def with_gap(self) -> Floats:
        """Set-up costs as those of a round trip, whose last place is no job but the gap before the first."""
        return np.pad(self.costs.cost, ((0, 0), (0, 1)))


def as_pairwise(compiled: CompiledLine) -> Pairwise | None:
    """The matrix behind a line's queue, or None where there is none."""
    if not is_pairwise(compiled):
        return None
    numbers = _numbers(compiled)
    return Pairwise(numbers, *_matrix(compiled, numbers))


def is_pairwise(compiled: CompiledLine) -> bool:
    """Whether a line's queue is a matrix: one way to run a job, no waits, nothing kept."""
    choices = compiled.job_plans[:, 1] - compiled.job_plans[:, 0]
    numbers = _numbers(compiled)
    if (choices > 1).any() or len(numbers) < FEWEST_RUNS or compiled.plant.splittable:
        return False
    return _time_adds_up(compiled, numbers) and _keeps_nothing(compiled, numbers)


def is_never_late(compiled: CompiledLine) -> bool:
    """Whether no job costs anything for being late, so that set-ups alone count."""
    return not any(prices.any() for prices in _late_prices(compiled, _numbers(compiled)))


def _numbers(compiled: CompiledLine) -> Ints:
    """The first plan of every job that can run."""
    return compiled.job_plans[:, 0][compiled.job_plans[:, 1] > compiled.job_plans[:, 0]]


def _late_prices(compiled: CompiledLine, numbers: Ints) -> tuple[Floats, Floats]:
    """What a ms of lateness costs, and being late at all; 0 without a due time."""
    plans = compiled.tables.plans[numbers]
    is_due = plans["due_ms"] < NEVER_MS
    return np.where(is_due, plans["late_ms_eur"], 0.0), np.where(is_due, plans["late_once_eur"], 0.0)


def _time_adds_up(compiled: CompiledLine, numbers: Ints) -> bool:
    """Whether runs follow each other without a wait, whatever their order."""
    tables, line = compiled.tables, compiled.tables.line[0]
    plans = tables.plans[numbers]
    return bool(
        not compiled.problem.locks
        and len(tables.closures) == 0
        and line["horizon_ms"] >= NEVER_MS
        and len(tables.stocks) == 0
        and (np.maximum(plans["ready_ms"], plans["window_ms"]) <= compiled.state[END]).all()
        and not plans["low_migration"].any()
    )


def _keeps_nothing(compiled: CompiledLine, numbers: Ints) -> bool:
    """Whether every run sets every slot anew, so that only the run before decides what changes."""
    slots = compiled.slots
    if slots.scarce or any(slot.aspect.rule is AspectRule.ADDED for slot in slots.slots):
        return False
    return all(len(slots.needs[idx]) == len(slots.slots) for idx in numbers)


def _matrix(compiled: CompiledLine, numbers: Ints) -> tuple[PathCosts, float]:
    """Costs and times of every pair, read off one long sequence that has each pair side by side."""
    count = len(numbers)
    walk = np.array([*_all_pairs(count), 0], np.int64)
    decoder = Decoder(compiled)
    ms, eur = decoder.changeover_costs(numbers[walk])
    cost = np.zeros((count + 1, count))
    time_ms = np.zeros((count + 1, count), np.int64)
    cost[walk[:-1], walk[1:]] = eur[1:]
    time_ms[walk[:-1], walk[1:]] = ms[1:]
    for job in range(count):
        first_ms, first_eur = decoder.changeover_costs(numbers[job : job + 1])
        cost[count, job], time_ms[count, job] = first_eur[0], first_ms[0]
    plans = compiled.tables.plans[numbers]
    cost[:count] += np.where(np.eye(count, dtype=np.bool_), 0.0, moved_eur(plans["job"], plans))
    cost[count] += moved_first_eur(compiled.tables.plans[list(compiled.started)], plans)
    begins_ms = compiled.state[END]
    late_per_ms_eur, late_once_eur = _late_prices(compiled, numbers)
    costs = PathCosts(
        cost=cost,
        time=time_ms,
        process=plans["work_ms"].copy(),
        due=np.minimum(plans["due_ms"], NEVER_MS >> 8) - begins_ms,
        late_per_unit=late_per_ms_eur,
        late_once=late_once_eur,
        least_gain=least_gain_eur(cost),
    )
    return costs, compiled.eur + float(plans["run_eur"].sum())


def least_gain_eur(cost: Floats) -> float:
    """Differences below this are rounding: a small part of what orders cost."""
    largest_eur = float(cost.max(initial=0.0))
    return max(1e-9 * largest_eur * len(cost), SMALLEST_EUR)


def _all_pairs(count: int) -> Iterator[int]:
    """A sequence in which every two different numbers stand side by side, either way round."""
    for one in range(count):
        yield one
        for other in range(one + 1, count):
            yield other
            yield one
