"""Islands that look for the order of a plant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from statistics import median

import numpy as np

from solver.search.book import Drawing
from solver.search.compile import CompiledPlant
from solver.search.islands import Halt, Order, Rounds, Score, Task
from solver.search.kernels.annealing import anneal
from solver.search.kernels.dispatching import DUE_FACTOR, SETUP_FACTOR
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tables import FULL, Ints
from solver.search.kernels.walk import (
    BEST_EUR,
    BEST_FAULTS,
    EUR,
    FAULTS,
    FRESH,
    MISJUDGED,
    UNORDERED,
    WORK,
)
from solver.search.line_queue import LineQueue
from solver.search.walk_room import PlantRoom, lock_tables

NOT_COSTED: Score = (float(1 << 60), np.inf)
"""Worse than any order."""

LookAhead = tuple[float, float]
LOOK_AHEADS = ((2.0, 0.3), (10.0, 0.3), (40.0, 0.3))
"""Pairs (due, set-up) of look-ahead factors that dispatching begins with; then those around the best."""

HOPE = 3.0
"""Usual changeovers by which a trial that costs more now may still come out cheaper, by a guess."""
FAULT_PRICES = (1.0, 1e5)
"""Usual changeovers that a broken lock is taken for in a cycle: drawn between these, evenly by logarithm."""
LONGEST_FIRST_CYCLE = 40_000
LOTS_SHARE = 0.06
"""Of the changes, where some jobs may be split: those of lots."""


@dataclass(frozen=True, slots=True)
class AnnealingSettings:
    """What makes one island differ from another.

    Parameters
    ----------
    hot, cold
        Heat at the beginning and the end of a cycle, as a share of what a changeover usually costs.
    steps
        Steps of the first cycle for every run, up to `LONGEST_FIRST_CYCLE`.
    growth
        By how much each next cycle is longer; above 1.
    shares
        Of the changes: next to a near job, any block, swaps, other stations.
    breaks_locks
        Whether locks may be broken on the way, from the second cycle on.
    """

    hot: float
    cold: float
    steps: int
    growth: float
    shares: tuple[float, float, float, float]
    breaks_locks: bool


SETTINGS = (
    AnnealingSettings(0.5, 0.05, 300, 1.5, (0.6, 0.15, 0.15, 0.1), False),
    AnnealingSettings(1.0, 0.02, 300, 1.5, (0.6, 0.15, 0.15, 0.1), True),
    AnnealingSettings(0.3, 0.02, 600, 1.5, (0.6, 0.15, 0.15, 0.1), False),
    AnnealingSettings(2.0, 0.05, 300, 1.3, (0.5, 0.25, 0.15, 0.1), True),
)
"""The islands of one line."""
COOL_ISLAND = AnnealingSettings(0.3, 0.02, 600, 1.5, (0.6, 0.15, 0.15, 0.1), False)
HOT_ISLAND = AnnealingSettings(2.0, 0.02, 300, 1.5, (0.6, 0.15, 0.15, 0.1), True)
"""The islands of several lines; more would have less work each."""
HOT_RUNS, LEAST_HOT = 40, 0.45
"""How many runs the hot one is for; for more it is cooler, down to the least: it would not get far."""
LEAST_COOL, COOLER = 0.2, 4.0
"""The other is at most as many times cooler than the hot one, and no cooler than the least."""


def settings_of(lines: int, runs: int) -> tuple[AnnealingSettings, ...]:
    """The islands for orders of so many runs."""
    if lines == 1:
        return SETTINGS
    hot = min(HOT_ISLAND.hot, max(LEAST_HOT, HOT_ISLAND.hot * HOT_RUNS / max(1, runs)))
    cool = min(COOL_ISLAND.hot, max(LEAST_COOL, hot / COOLER))
    return replace(COOL_ISLAND, hot=cool), replace(HOT_ISLAND, hot=hot)


def annealing_rounds(runs: int) -> Rounds:
    """How work is dealt out; changes of longer orders take longer."""
    return Rounds(max(200, 600_000 // max(1, runs)), 20)


def annealing_islands(
    compiled: CompiledPlant, orders: Sequence[Ints], seed: int, halt: Halt
) -> list[AnnealingIsland]:
    """The islands of one search, each from the best of these orders, of which there is at least one."""
    queue = PlantQueue(compiled)
    lines = len(compiled.lines)
    islands = [
        AnnealingIsland(queue, orders[0], settings, seed, stream, halt)
        for stream, settings in enumerate(settings_of(lines, int(orders[0][:lines].sum())))
    ]
    for order in orders:
        islands[0].adopt(order)
    go_on_from_best(islands)
    return islands


class PlantQueue:
    """What the islands of one plant share."""

    def __init__(self, compiled: CompiledPlant) -> None:
        self.compiled = compiled
        queues = [LineQueue(line) for line in compiled.lines]
        self.choices = [queue.choices for queue in queues]
        self.usual_changeover_eur = median(queue.usual_changeover_eur for queue in queues)

    @property
    def has_choices(self) -> bool:
        """Whether a job can be seated at different stations."""
        return any((each.job_plans[..., 1] - each.job_plans[..., 0] > 1).any() for each in self.choices)


def dispatching(islands: Sequence[AnnealingIsland]) -> Iterator[list[Task]]:
    """Dispatching with several look-aheads as stages of tasks, an island each; then all go on from the best
    order there is.
    """
    tried: dict[LookAhead, Score] = {}

    def dispatch(island: AnnealingIsland, look_ahead: LookAhead) -> None:
        tried[look_ahead] = island.dispatch(*look_ahead)

    def stages(look_aheads: Sequence[LookAhead]) -> Iterator[list[Task]]:
        for first in range(0, len(look_aheads), len(islands)):
            yield [
                partial(dispatch, island, look_ahead)
                for island, look_ahead in zip(islands, look_aheads[first:], strict=False)
            ]

    def best() -> LookAhead:
        return min(tried, key=lambda look_ahead: (tried[look_ahead], look_ahead))

    yield from stages(LOOK_AHEADS)
    due, setup = best()
    yield from stages([(due / 2, setup), (due * 2, setup)])
    due, setup = best()
    yield from stages([(due, setup / 3), (due, setup * 3)])
    go_on_from_best(islands)


def go_on_from_best(islands: Sequence[AnnealingIsland]) -> None:
    """Let all islands go on from the best order of any of them."""
    score, order = min((island.best for island in islands), key=lambda best: best[0])
    order = order.copy()
    for island in islands:
        island.go_on_from(order, score)


class AnnealingIsland:
    """Simulated annealing of a plant's order."""

    def __init__(
        self,
        queue: PlantQueue,
        order: Ints,
        settings: AnnealingSettings,
        seed: int,
        stream: int,
        halt: Halt,
    ) -> None:
        self._queue = queue
        self._halt = halt
        self._settings = settings
        self._runs = int(order[: len(queue.compiled.lines)].sum())
        self._drawing = self._new_drawing(seed, stream)
        self._first_order = order.copy()
        self._first_score: Score = NOT_COSTED

    def _new_drawing(self, seed: int, stream: int) -> Drawing:
        """Settings as the kernels read them."""
        settings, usual_eur = self._settings, self._queue.usual_changeover_eur
        near_share, block, swaps, stations = settings.shares
        if not self._queue.has_choices:
            near_share, stations = near_share + stations, 0.0
        first_cycle = min(LONGEST_FIRST_CYCLE, settings.steps * max(1, self._runs))
        may_break = settings.breaks_locks and len(lock_tables(self._queue.compiled).locks) > 0
        fault_eur = [price * usual_eur if may_break else 0.0 for price in FAULT_PRICES]
        hot, cold = settings.hot * usual_eur, settings.cold * usual_eur
        return Drawing(
            shares=np.array([near_share, block, swaps, stations, LOTS_SHARE]),
            randomness=seeded(seed, stream),
            halt=self._halt,
            cycle=np.array([0, first_cycle, 0, 0, 0, 0], np.int64),
            heat=np.array([hot, cold, hot, settings.growth, np.inf, *fault_eur]),
        )

    @cached_property
    def _room(self) -> PlantRoom:
        """Made for the first work, in the thread that does it: room for a long queue takes time."""
        usual_eur = self._queue.usual_changeover_eur
        room = PlantRoom(
            self._queue.compiled,
            self._queue.choices,
            self._halt,
            self._drawing,
            HOPE * usual_eur,
            usual_eur,
        )
        self._set_fresh(room, self._first_order, self._first_score)
        return room

    def dispatch(self, due_factor: float, setup_factor: float) -> Score:
        """Dispatch all jobs and go on from there, or from the order so far once the halt flag is up; returns
        how good that is.
        """
        factors, walk = self._room.dispatching.factors, self._room.walk
        factors[DUE_FACTOR], factors[SETUP_FACTOR] = due_factor, setup_factor
        if walk.counts[FRESH]:
            self.advance(0)
        walk.counts[FRESH] = UNORDERED
        self.advance(0)
        return float(walk.counts[FAULTS]), float(walk.sums[EUR])

    def advance(self, work: int) -> int:
        room = self._room
        before = int(room.walk.counts[WORK])
        while anneal(room.book.rows, before + work) == FULL:
            room.enlarge()
        return int(room.walk.counts[WORK]) - before

    @property
    def best(self) -> tuple[Score, Order]:
        if "_room" not in self.__dict__:
            return self._first_score, self._first_order
        walk = self._room.walk
        return (float(walk.counts[BEST_FAULTS]), float(walk.sums[BEST_EUR])), walk.best

    @property
    def misjudged(self) -> int:
        """How many changes cost something else, once taken, than was reckoned: there should be none."""
        return int(self._room.walk.counts[MISJUDGED])

    def adopt(self, order: Order) -> None:
        self.go_on_from(order, NOT_COSTED)
        self.advance(0)

    def go_on_from(self, order: Ints, score: Score) -> None:
        """Adopt an order; it is placed at the next work. Its score is noted if that is known and better."""
        if "_room" in self.__dict__:
            self._set_fresh(self._room, order, score)
        else:
            self._first_order, self._first_score = order.copy(), min(score, self._first_score)

    def _set_fresh(self, room: PlantRoom, order: Ints, score: Score) -> None:
        walk, compiled = room.walk, self._queue.compiled
        for line, numbers in zip(room.lines, compiled.line_numbers(order), strict=True):
            line.placing.trial[: len(numbers)] = numbers
        walk.trial_runs[:] = order[: len(compiled.lines)]
        walk.counts[FRESH] = 1
        if score < (float(walk.counts[BEST_FAULTS]), float(walk.sums[BEST_EUR])) or not walk.best.any():
            walk.best[:] = order
            walk.counts[BEST_FAULTS], walk.sums[BEST_EUR] = score
