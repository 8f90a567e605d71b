"""Islands that look for a path of least set-up and late cost.

An island keeps a pool of its best paths. A generation is an iterated local search of some length, from a
child of two of them: a segment of the one at its place, the other jobs in the order of the other. Its best
goes into the pool instead of the worst. (Search by local search alone comes to a standstill where due times
are loose.) Paths of a pool grow alike; one that brings forth nothing better is given up, and another is
filled from paths dispatched anew.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solver.search.islands import Halt, Island, Order, Rounds, Score
from solver.search.kernels.path import COST, TIME, Line, empty_path, lay_out
from solver.search.kernels.path_descent import BEST, Kicks, Near, begin, empty_descent, search_path
from solver.search.kernels.randomness import draw_below, draw_unit, seeded
from solver.search.kernels.tables import Randomness
from solver.search.nearest import nearest_columns

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class PathCosts:
    """What the jobs of one line take and cost, in one unit of time and one of money.

    Parameters
    ----------
    cost, time
        Money and time of the set-up of the job of the column right after the job of the row; the last row is
        for the first job. n + 1 rows, n columns, at least 0.
    process, due
        Time of every job without set-up, and when it is due; counted from the start of the first set-up.
    late_per_unit, late_once
        Money for every unit of time that a job ends after it is due, and once where it does; at least 0.
    least_gain
        Smallest difference between the costs of two paths that counts; above 0.
    """

    cost: Floats
    time: Ints
    process: Ints
    due: Ints
    late_per_unit: Floats
    late_once: Floats
    least_gain: float


@dataclass(frozen=True, slots=True)
class PathSettings:
    """What makes one island differ from another.

    Parameters
    ----------
    longest_block
        Longest block of jobs that is moved; at least 1.
    longest_kick
        Longest of the segments that a kick rearranges; at least 1.
    warmth
        How much dearer an accepted path may be, as a share of what a mean set-up costs with the lateness
        that it causes to one job (exponentially distributed with this mean); at least 0.
    guidance
        What a unit of set-up time costs this island on top, as a share of a mean job's cost of a unit of
        lateness; at least 0. It leads from one path to a shorter one where late costs are the same.
    """

    longest_block: int
    longest_kick: int
    warmth: float
    guidance: float


SETTINGS = (
    PathSettings(longest_block=3, longest_kick=5, warmth=0.1, guidance=0.3),
    PathSettings(longest_block=3, longest_kick=10, warmth=0.1, guidance=1.0),
    PathSettings(longest_block=3, longest_kick=3, warmth=0.0, guidance=0.3),
    PathSettings(longest_block=3, longest_kick=8, warmth=0.1, guidance=0.0),
)
MOST_GUIDED = 2.0**45
"""Costs above this are not guided: fractions of a unit would no longer be exact."""
REACH = 200
"""How many places a block moves at most."""
NEAR_JOBS = 10
"""Jobs before and behind each job among which long segments that change places are sought."""
POOL = 4
PATIENCE = 4
"""Generations without a better path after which a pool is given up for a new one."""
USUAL_JOBS = 60
GENERATION_WORK = 8_000_000
"""Moves of a generation for `USUAL_JOBS`; their number around an order grows with the square of the jobs."""
ROUND_WORK = 4_000_000
"""Moves of an island in a round: about a tenth of a second."""
EXCHANGE_EVERY = 3


def path_rounds(jobs: int) -> Rounds:
    """How work is dealt out; moves of longer paths take longer."""
    return Rounds(ROUND_WORK * USUAL_JOBS // max(USUAL_JOBS, jobs), EXCHANGE_EVERY)


def path_islands(costs: PathCosts, seed: int, halt: Halt) -> list[Island]:
    """The islands of one search; at least 4 jobs."""
    setup = np.stack([costs.cost, costs.time], axis=2).astype(np.float64)
    line = Line(
        np.pad(setup, ((0, 0), (0, 1), (0, 0))),
        *(
            np.asarray(array, dtype=np.float64)
            for array in (costs.process, costs.due, costs.late_per_unit, costs.late_once)
        ),
    )
    near = near_of(line, min(NEAR_JOBS, len(line.process)))
    mean_setup = line.setup[:, :-1].mean(axis=(0, 1))
    return [
        PathIsland(line, near, mean_setup, costs.least_gain, settings, seeded(seed, stream), halt)
        for stream, settings in enumerate(SETTINGS)
    ]


class PathIsland:
    """Generations of iterated local searches of a path."""

    def __init__(
        self,
        line: Line,
        near: Near,
        mean_setup: Floats,
        least_gain: float,
        settings: PathSettings,
        randomness: Randomness,
        halt: Halt,
    ) -> None:
        jobs = len(line.process)
        self._line = line
        self._near = near
        self._halt = halt
        self._randomness = randomness
        self._kicks, self._guided = _kicks(line, mean_setup, least_gain, settings)
        self._descent = empty_descent(jobs, randomness)
        self._pool: list[tuple[float, Ints]] = []
        self._stale = 0
        self._generation_work = max(1, GENERATION_WORK * jobs**2 // USUAL_JOBS**2)
        self._begin(np.argsort(line.due, kind="stable"))
        self._best = self._generation_best()

    def advance(self, work: int) -> int:
        done = 0
        while done < work:
            part = min(work - done, self._left)
            did = search_path(self._guided, self._descent, self._kicks, self._near, part, self._halt)
            done += did
            self._left -= did
            if did < part:
                break
            if self._left == 0:
                self._end_generation()
                self._begin(self._child() if len(self._pool) == POOL else self._dispatched())
        self._best = min(self._best, self._generation_best(), key=_cost)
        return done

    @property
    def best(self) -> tuple[Score, Order]:
        cost, order = self._best
        return (cost,), order

    def adopt(self, order: Order) -> None:
        path = empty_path(len(order))
        path.sequence[1:-1] = order
        cost = float(lay_out(self._line, path, 1))
        self._best = min(self._best, (cost, order), key=_cost)
        if len(self._pool) == POOL:  # one that fills goes its own way, or all would be alike
            self._keep(cost, order)

    def _generation_best(self) -> tuple[float, Ints]:
        return float(self._descent.costs[BEST]), self._descent.best[1:-1].copy()

    def _end_generation(self) -> None:
        """Put the best path of a generation into the pool, and give up a pool that brings forth no better."""
        found = self._generation_best()
        self._best = min(self._best, found, key=_cost)
        is_better = len(self._pool) < POOL or found[0] < self._pool[0][0]
        self._keep(*found)
        self._stale = 0 if is_better else self._stale + 1
        if self._stale == PATIENCE:
            self._pool, self._stale = [], 0

    def _keep(self, cost: float, order: Ints) -> None:
        """Put a path into the pool, unless one that costs the same is there."""
        if all(cost != kept for kept, _ in self._pool):
            self._pool = sorted([*self._pool, (cost, order)], key=_cost)[:POOL]

    def _begin(self, order: Ints) -> None:
        begin(self._guided, self._descent, self._kicks, order)
        self._left = self._generation_work

    def _child(self) -> Ints:
        first = draw_below(self._randomness, POOL)
        second = (first + 1 + draw_below(self._randomness, POOL - 1)) % POOL
        one, other = self._pool[first][1], self._pool[second][1]
        jobs = len(one)
        length = jobs // 6 + draw_below(self._randomness, jobs // 2 + 1)
        place = draw_below(self._randomness, jobs - length + 1)
        segment = one[place : place + length]
        rest = other[~np.isin(other, segment)]
        return np.concatenate([rest[:place], segment, rest[place:]])

    def _dispatched(self) -> Ints:
        due_factor = 0.5 + 5.5 * draw_unit(self._randomness)
        setup_factor = 0.05 + draw_unit(self._randomness)
        return dispatched(self._line, due_factor, setup_factor)


def _cost(entry: tuple[float, Ints]) -> float:
    return entry[0]


def _kicks(line: Line, mean_setup: Floats, least_gain: float, settings: PathSettings) -> tuple[Kicks, Line]:
    """Settings in the units of a line, and the line with the costs that guide the search; `mean_setup` has
    cost and time.
    """
    jobs = len(line.process)
    mean_cost, mean_time = map(float, mean_setup)
    mean_late = float(line.late_per_unit.mean())
    guidance = _power_of_two(settings.guidance * mean_late)
    longest_end = float(line.process.sum() + line.setup[:, :, TIME].max(axis=0).sum())
    if float(line.late_per_unit.sum()) * longest_end > MOST_GUIDED:
        guidance = 0.0
    guided = line.setup.copy()
    guided[:, :, COST] += guidance * guided[:, :, TIME]
    kicks = Kicks(
        min(settings.longest_block, jobs - 1),
        max(1, min(settings.longest_kick, jobs // 3)),
        REACH,
        settings.warmth * (mean_cost + mean_time * mean_late),
        guidance,
        float(line.process.sum()),
        min(least_gain, guidance or least_gain) / 2,
    )
    return kicks, line._replace(setup=guided)


def near_of(line: Line, near_jobs: int) -> Near:
    """So many near jobs of every job, at most all; a set-up is worth its cost and a mean job's lateness."""
    worth = line.setup[:, :, COST] + float(line.late_per_unit.mean()) * line.setup[:, :, TIME]
    return Near(
        np.ascontiguousarray(worth),
        nearest_columns(worth, near_jobs),
        np.ascontiguousarray(worth.T),
        nearest_columns(worth.T, near_jobs),
    )


def _power_of_two(value: float) -> float:
    """The nearest power of two, so that whole numbers times it stay exact; 0 for 0."""
    return 2.0 ** round(math.log2(value)) if value > 0 else 0.0


def dispatched(line: Line, due_factor: float, setup_factor: float) -> Ints:
    """Append the job with the largest index, one after the other.

    I = w/p · exp(−max(d − p − t, 0) / (K1·p̄)) · exp(−s / (K2·s̄)), the rule of apparent tardiness cost with
    set-ups (Lee, Bhaskaran and Pinedo, IIE Transactions 29, 1997), by its logarithm, which never underflows.
    """
    jobs = len(line.process)
    with np.errstate(divide="ignore"):
        worth = np.log(line.late_per_unit / np.maximum(line.process, 1.0))
    worth = np.maximum(worth, -100.0)
    due_scale = due_factor * max(1.0, float(line.process.mean()))
    setup_scale = setup_factor * max(1e-9, float(line.setup[:, :-1, TIME].mean()))
    waiting = np.arange(jobs)
    order = np.empty(jobs, dtype=np.int64)
    before, now = jobs, 0.0
    for place in range(jobs):
        setup = line.setup[before, waiting, TIME]
        slack = np.maximum(line.due[waiting] - line.process[waiting] - now, 0.0)
        chosen = int(np.argmax(worth[waiting] - slack / due_scale - setup / setup_scale))
        before = int(waiting[chosen])
        now += float(setup[chosen] + line.process[before])
        order[place] = before
        waiting = np.delete(waiting, chosen)
    return order
