"""Islands that look for the order of one line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from solver.search.book import Book, ChangeoverTables
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.compile import CompiledLine
from solver.search.decode import new_scratch
from solver.search.islands import Halt, Order, Rounds, Score, Task
from solver.search.kernels.line_annealing import Annealing, anneal
from solver.search.kernels.line_changes import Changes
from solver.search.kernels.line_dispatch import DUE_FACTOR, SETUP_FACTOR
from solver.search.kernels.line_walk import (
    BEST_EUR,
    BEST_FAULTS,
    EUR,
    FAULTS,
    FRESH,
    MISJUDGED,
    UNORDERED,
    WORK,
)
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tables import FULL, Ints
from solver.search.line_model import line_model, new_dispatch, new_walk
from solver.search.line_queue import LineQueue

NOT_COSTED: Score = (float(1 << 60), np.inf)
"""Worse than any order."""

LookAhead = tuple[float, float]
LOOK_AHEADS = ((2.0, 0.3), (10.0, 0.3), (40.0, 0.3))
"""Pairs (due, set-up) of look-ahead factors that dispatching begins with; then those around the best."""

CASES_A_RUN = 250
FEWEST_CASES_AT_FIRST, MOST_CASES_AT_FIRST = 12, 18
"""Binary logarithms."""

HOPE = 3.0
"""Usual changeovers by which a trial that costs more now may still come out cheaper, by a guess."""
FAULT_PRICES = (1.0, 1e5)
"""Usual changeovers that a broken lock is taken for in a cycle: drawn between these, evenly by logarithm."""
LONGEST_FIRST_CYCLE = 40_000


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


def line_rounds(runs: int) -> Rounds:
    """How work is dealt out; changes of longer orders take longer."""
    return Rounds(max(200, 600_000 // max(1, runs)), 20)


def line_islands(
    compiled: CompiledLine, orders: Sequence[Ints], seed: int, halt: Halt
) -> list[AnnealingIsland]:
    """The islands of one search, each from the best of these orders, of which there is at least one."""
    queue = LineQueue(compiled)
    islands = [
        AnnealingIsland(queue, orders[0], settings, seed, stream, halt)
        for stream, settings in enumerate(SETTINGS)
    ]
    for order in orders:
        islands[0].adopt(order)
    go_on_from_best(islands)
    return islands


def dispatching(islands: Sequence[AnnealingIsland]) -> Iterator[list[Task]]:
    """Dispatching with several look-aheads as stages of tasks, an island each; then all go on from the best
    order there is.
    """
    tried: dict[LookAhead, Score] = {}

    def dispatch(island: AnnealingIsland, look_ahead: LookAhead) -> None:
        tried[look_ahead] = island.dispatch(*look_ahead)

    def stage(look_aheads: Iterable[LookAhead]) -> list[Task]:
        return [
            partial(dispatch, island, look_ahead)
            for island, look_ahead in zip(islands, look_aheads, strict=False)
        ]

    def best() -> LookAhead:
        return min(tried, key=lambda look_ahead: (tried[look_ahead], look_ahead))

    yield stage(LOOK_AHEADS)
    due, setup = best()
    yield stage([(due / 2, setup), (due * 2, setup)])
    due, setup = best()
    yield stage([(due, setup / 3), (due, setup * 3)])
    go_on_from_best(islands)


def go_on_from_best(islands: Sequence[AnnealingIsland]) -> None:
    """Let all islands go on from the best order of any of them."""
    score, order = min((island.best for island in islands), key=lambda best: best[0])
    order = order.copy()
    for island in islands:
        island.go_on_from(order, score)


def usual_cases(runs: int) -> int:
    """Room for the changeovers that a search of so many runs usually meets, a power of two: room for more is
    made on the way, which takes long.
    """
    return 1 << min(MOST_CASES_AT_FIRST, max(FEWEST_CASES_AT_FIRST, (CASES_A_RUN * runs - 1).bit_length()))


class AnnealingIsland:
    """Simulated annealing of one line's order."""

    def __init__(
        self,
        queue: LineQueue,
        order: Ints,
        settings: AnnealingSettings,
        seed: int,
        stream: int,
        halt: Halt,
    ) -> None:
        compiled = queue.compiled
        self._model = line_model(compiled, queue.uses)
        self._halt = halt
        self._compiled = compiled
        usual_eur = queue.usual_changeover_eur
        self._walk = new_walk(compiled, len(order), HOPE * usual_eur)
        multi = bool((compiled.job_plans[:, 1] - compiled.job_plans[:, 0] > 1).any())
        near_share, block, swaps, stations = settings.shares
        if not multi:
            near_share, stations = near_share + stations, 0.0
        self._changes = Changes(
            near=queue.near,
            job_plans=compiled.job_plans,
            exchanged=queue.exchanged,
            shares=np.array([near_share, block, swaps, stations]),
            randomness=seeded(seed, stream),
        )
        first_cycle = min(LONGEST_FIRST_CYCLE, settings.steps * max(1, len(order)))
        may_break = settings.breaks_locks and len(self._model.locks.locks) > 0
        fault_eur = [price * usual_eur if may_break else 0.0 for price in FAULT_PRICES]
        hot, cold = settings.hot * usual_eur, settings.cold * usual_eur
        self._annealing = Annealing(
            counts=np.array([0, first_cycle, 0, 0, 0, 0], np.int64),
            heat=np.array([hot, cold, hot, settings.growth, np.inf, *fault_eur]),
        )
        self._dispatch = new_dispatch(len(order), usual_eur, halt)
        self.go_on_from(order, NOT_COSTED)

    @cached_property
    def _changeovers(self) -> ChangeoverTables:
        """Made for the first work, in the thread that does it: room for those of a long queue takes time."""
        runs = len(self._walk.order)
        return room_for_changeovers(len(self._compiled.web.stations), usual_cases(runs))

    @cached_property
    def _book(self) -> Book:
        compiled = self._compiled
        return Book(compiled.tables, compiled.web, self._changeovers, new_scratch(compiled))

    def dispatch(self, due_factor: float, setup_factor: float) -> Score:
        """Dispatch all jobs and go on from there, or from the order so far once the halt flag is up; returns
        how good that is.
        """
        self._dispatch.factors[DUE_FACTOR] = due_factor
        self._dispatch.factors[SETUP_FACTOR] = setup_factor
        self._walk.counts[FRESH] = UNORDERED
        self.advance(0)
        return float(self._walk.counts[FAULTS]), float(self._walk.eur[EUR])

    def advance(self, work: int) -> int:
        before = int(self._walk.counts[WORK])
        while True:
            code = anneal(
                self._book.rows,
                self._model,
                self._walk,
                self._changes,
                self._annealing,
                self._dispatch,
                before + work,
                self._halt,
            )
            if code != FULL:
                return int(self._walk.counts[WORK]) - before
            self._changeovers = doubled(self._changeovers)
            self._book.enter(self._changeovers)

    @property
    def best(self) -> tuple[Score, Order]:
        walk = self._walk
        return (float(walk.counts[BEST_FAULTS]), float(walk.eur[BEST_EUR])), walk.best

    @property
    def misjudged(self) -> int:
        """How many changes cost something else, once taken, than was reckoned: there should be none."""
        return int(self._walk.counts[MISJUDGED])

    def adopt(self, order: Order) -> None:
        self._walk.trial[:] = order
        self._walk.counts[FRESH] = 1
        self.advance(0)

    def go_on_from(self, order: Ints, score: Score) -> None:
        """Adopt an order whose score is known; it is placed at the next work."""
        walk = self._walk
        for orders in (walk.trial, walk.order):
            orders[:] = order
        walk.counts[FRESH] = 1
        if score < self.best[0] or score == NOT_COSTED:
            walk.best[:] = order
            walk.counts[BEST_FAULTS], walk.eur[BEST_EUR] = score
