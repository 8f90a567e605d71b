"""Queues given as plain matrices: every set-up depends only on the two jobs that it lies between.

problem = MatrixProblem(setup=[[0, 3, 9], [4, 0, 2], [7, 1, 0]])
result = order_matrix(problem, Stop(time_s=1))
result.order, result.value          # (0, 2, 1), 10 or an order as good

"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise, permutations
from numbers import Integral
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solver.search.bounding import TIME_SHARE, Bounding, LeastCosts
from solver.search.exact_paths import PathProver
from solver.search.islands import Found, Island, Rounds, Score, Task, no_halt, search_islands
from solver.search.path_islands import PathCosts, path_islands, path_rounds
from solver.search.proving import Prover, Proving
from solver.search.stop import Stop
from solver.search.tour_islands import tour_islands, tour_rounds
from solver.search.tour_prover import TourProver

Ints = NDArray[np.int64]

LARGEST = 1 << 53
"""Sums up to here are exact in floating point, which the kernels count in."""
LEAST_GAIN = 1.0
"""Values are whole numbers."""
ROUNDING = 1e-6
"""Relative: what the bound's linear solver may be off by."""
FEW_JOBS = 3
"""Queues up to this length are ordered by trying every order."""


@dataclass(frozen=True)
class MatrixProblem:
    """Jobs to be put in one order, in any whole unit of time or money.

    Parameters
    ----------
    setup
        Set-up of job j right after job i in row i, column j; n rows of n whole numbers of at least 0. The
        diagonal is not looked at.
    initial
        Set-up of each job if it is the first; none needed where it is left out. Only for an open path.
    process
        Time of each job without set-up; 0 where it is left out.
    due
        When each job is due, counted from the start of the first set-up; may be negative.
    weight
        Cost of each job for every unit of time that it ends after it is due. Given with `due` or not at all.
    closed
        Whether the last job is followed by the first again (a tour) or by nothing (an open path).

    Raises
    ------
    ValueError
        Where an array has another shape, holds anything but whole numbers of at least 0 (due: whole numbers),
        or where sums could exceed 2^53 and would no longer be exact.
    """

    setup: ArrayLike
    initial: ArrayLike | None = None
    process: ArrayLike | None = None
    due: ArrayLike | None = None
    weight: ArrayLike | None = None
    closed: bool = False
    arrays: MatrixArrays = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "arrays", _checked_arrays(self))

    def __len__(self) -> int:
        return len(self.arrays.process)

    @property
    def has_due_times(self) -> bool:
        """Whether lateness is what an order costs, rather than its set-ups."""
        return self.due is not None

    def value(self, order: ArrayLike) -> int:
        """What an order costs: Σ set-ups, or with due times Σ weight · max(0, end − due).

        Raises
        ------
        ValueError
            Where the order does not hold every job once.
        """
        jobs = [int(job) for job in np.asarray(order)]
        if sorted(jobs) != list(range(len(self))):
            raise ValueError(f"order must hold every job from 0 to {len(self) - 1} once, is {jobs}")
        arrays = self.arrays
        setups = [int(arrays.initial[jobs[0]])]
        setups += [int(arrays.setup[before, job]) for before, job in pairwise(jobs)]
        if not self.has_due_times:
            return sum(setups) + (int(arrays.setup[jobs[-1], jobs[0]]) if self.closed else 0)
        end, late = 0, 0
        for job, setup in zip(jobs, setups, strict=True):
            end += setup + int(arrays.process[job])
            late += int(arrays.weight[job]) * max(0, end - int(arrays.due[job]))
        return late


@dataclass(frozen=True)
class MatrixArrays:
    """The arrays of a problem, checked and complete: what was left out is 0."""

    setup: Ints
    initial: Ints
    process: Ints
    due: Ints
    weight: Ints


@dataclass(frozen=True, slots=True)
class MatrixResult:
    """An order found.

    Parameters
    ----------
    order
        Job indices, first to last.
    value
        What it costs, see `MatrixProblem.value`.
    work
        Moves tried so far.
    elapsed_s
        Seconds since the stop was made.
    bound
        A proved value that no order undercuts; None where there is none yet. 0 where lateness counts.
    """

    order: tuple[int, ...]
    value: int
    work: int
    elapsed_s: float
    bound: int | None = None

    @property
    def is_proved(self) -> bool:
        """Whether no order costs less."""
        return self.value == self.bound

    @property
    def gap(self) -> float | None:
        """How far the value may be above the least, as a share of the bound; None where that says nothing."""
        if self.is_proved:
            return 0.0
        return self.value / self.bound - 1 if self.bound else None


def order_matrix(
    problem: MatrixProblem,
    stop: Stop,
    seed: int = 0,
    threads: int | None = None,
    on_progress: Callable[[MatrixResult], None] | None = None,
) -> MatrixResult:
    """Order a queue so that its value is least.

    Parameters
    ----------
    stop
        Limits; work is counted in moves tried. With a work limit alone the result depends on problem, seed
        and limit, and a larger limit never gives a worse one.
    seed
        Any whole number.
    threads
        How many of the four searches with different settings run at the same time, at least 1; None for as
        many as there are processors, up to 4. It changes the time taken, not the result for a work limit.
    on_progress
        Told the best so far at the beginning, about four times a second, and at the end.

    A search ends before its limits once the value is at the bound: no order costs less. Set-ups alone are
    bounded by the linear relaxation, which is worked out first, within a quarter of the time. Beside the
    rounds it is tried to prove that no order is better (`exact_tours`, `exact_paths`).

    Raises
    ------
    ValueError
        Where seed or threads are not whole numbers in range.
    """
    _check_whole("seed", seed)
    if threads is not None:
        _check_whole("threads", threads)

    known_bound: int | None = 0 if problem.has_due_times else None
    bounding: Bounding | None = None
    proving: Proving | None = None

    def bound() -> int | None:
        relaxed = known_bound if bounding is None else _whole_bound(bounding)
        if proving is None or proving.value is None:
            return relaxed
        return max(relaxed or 0, math.ceil(proving.value))

    def result(found: Found) -> MatrixResult:
        order = tuple(int(job) for job in found.order)
        return MatrixResult(order, problem.value(order), found.work, found.elapsed_s, bound())

    def report(found: Found) -> None:
        if on_progress is not None:
            on_progress(result(found))

    if len(problem) <= FEW_JOBS:
        orders = permutations(range(len(problem)))
        best = min(orders, key=lambda order: (problem.value(order), order))
        found = Found((problem.value(best),), np.array(best), stop.done, stop.elapsed_s)
        known_bound = problem.value(best)
        report(found)
        return result(found)
    halt = no_halt()
    islands: list[Island]
    rounds: Rounds
    opening: list[list[Task]] = []
    prover: Prover
    if problem.has_due_times:
        costs = _path_costs(problem)
        islands, rounds = path_islands(costs, seed, halt), path_rounds(len(problem))
        prover = PathProver(costs)
    else:
        lengths, has_gap = _tour_costs(problem)
        bounding = Bounding(partial(LeastCosts, 0.0, lengths), TIME_SHARE, stop, halt)
        opening = [[bounding.find]]
        islands, rounds = (
            tour_islands(lengths, has_gap, LEAST_GAIN, seed, halt),
            tour_rounds(len(problem)),
        )
        prover = TourProver(lengths, has_gap, bounding)
    proving = Proving(prover, lambda value: value - LEAST_GAIN / 2, stop, halt)

    def least() -> Score | None:
        value = bound()
        return None if value is None else (float(value),)

    return result(search_islands(islands, rounds, stop, halt, threads, report, opening, least, proving.begin))


def _whole_bound(bounding: Bounding) -> int | None:
    """The bound of whole set-ups: rounded up, less what the linear solver may be off by."""
    if bounding.value is None:
        return None
    return max(0, math.ceil(bounding.value - ROUNDING * max(1.0, bounding.value)))


def _check_whole(name: str, value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise ValueError(f"{name} must be a whole number, is {value!r}")


def _tour_costs(problem: MatrixProblem) -> tuple[NDArray[np.float64], bool]:
    """Costs between places of a tour, and whether its last place is no job but the gap of an open path."""
    arrays = problem.arrays
    if problem.closed:
        return arrays.setup.astype(np.float64), False
    cost = np.zeros((len(problem) + 1, len(problem) + 1))
    cost[:-1, :-1] = arrays.setup
    cost[-1, :-1] = arrays.initial
    return cost, True


def _path_costs(problem: MatrixProblem) -> PathCosts:
    arrays = problem.arrays
    time = np.vstack([arrays.setup, arrays.initial])
    return PathCosts(
        cost=np.zeros(time.shape),
        time=time,
        process=arrays.process,
        due=arrays.due,
        late_per_unit=arrays.weight.astype(np.float64),
        late_once=np.zeros(len(problem)),
        least_gain=LEAST_GAIN,
    )


def _checked_arrays(problem: MatrixProblem) -> MatrixArrays:
    setup = _whole("setup", problem.setup, dimensions=2)
    jobs = len(setup)
    if jobs == 0 or setup.shape != (jobs, jobs):
        raise ValueError(f"setup must have as many columns as rows, at least 1, has the shape {setup.shape}")
    if (problem.due is None) != (problem.weight is None):
        given, missing = ("weight", "due") if problem.due is None else ("due", "weight")
        raise ValueError(f"{given} is given without {missing}: give both, or neither for set-ups alone")
    if problem.closed and problem.due is not None:
        raise ValueError("closed: a tour has no first job that time is counted from; due needs an open path")
    if problem.closed and problem.initial is not None:
        raise ValueError("closed: a tour has no first set-up; initial needs an open path")

    def by_job(name: str, values: ArrayLike | None, least: int = 0) -> Ints:
        if values is None:
            return np.zeros(jobs, dtype=np.int64)
        array = _whole(name, values, dimensions=1, least=least)
        if len(array) != jobs:
            raise ValueError(f"{name} must have {jobs} entries, one for each row of setup, has {len(array)}")
        return array

    arrays = MatrixArrays(
        setup,
        by_job("initial", problem.initial),
        by_job("process", problem.process),
        by_job("due", problem.due, least=-LARGEST),
        by_job("weight", problem.weight),
    )
    _check_sums(arrays)
    return arrays


def _check_sums(arrays: MatrixArrays) -> None:
    """Refuse numbers whose largest possible sums are not exact in floating point."""
    most_setup = np.maximum(arrays.setup.max(axis=0), arrays.initial).tolist()
    end = sum(most_setup) + sum(arrays.process.tolist())
    if end > LARGEST:
        raise ValueError(f"setup, initial and process can add up to {end}, which is more than 2^53")
    late = sum(
        weight * (end + abs(due))
        for weight, due in zip(arrays.weight.tolist(), arrays.due.tolist(), strict=True)
    )
    if late > LARGEST:
        raise ValueError(f"weight times lateness can add up to {late}, which is more than 2^53")


def _whole(name: str, values: ArrayLike, dimensions: int, least: int = 0) -> Ints:
    """An array of whole numbers within limits; of a matrix, without its diagonal."""
    try:
        array = np.array(values)
    except ValueError as error:
        raise ValueError(f"{name} must have rows of one length: {error}") from error
    if array.ndim != dimensions:
        raise ValueError(f"{name} must have {dimensions} dimension(s), has {array.ndim}")
    if array.dtype.kind not in "iuf" and array.size:
        raise ValueError(f"{name} must hold whole numbers, holds {array.dtype} values")
    if dimensions == 2:
        np.fill_diagonal(array, 0)
    _refuse(name, array, ~np.isfinite(array), "a finite number")
    _refuse(name, array, array != np.floor(array), "a whole number")
    _refuse(name, array, array < least, f"at least {least}")
    _refuse(name, array, array > LARGEST, "at most 2^53")
    return array.astype(np.int64)


def _refuse(name: str, array: NDArray[Any], wrong: NDArray[np.bool_], right: str) -> None:
    if not wrong.any():
        return
    place = [int(idx) for idx in np.argwhere(wrong)[0]]
    where = f"row {place[0]}, column {place[1]}" if len(place) == 2 else f"entry {place[0]}"
    raise ValueError(f"{name}, {where}: must be {right}, is {array[tuple(place)]}")
