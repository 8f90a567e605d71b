"""Islands that look for an order with few tool switches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solver.search.islands import Halt, Island, Order, Rounds, Score
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tables import Randomness
from solver.search.kernels.tool_switching import (
    AT,
    BEST,
    SWITCH,
    Cycle,
    Ints,
    Needs,
    begin,
    empty_search,
    search_orders,
    switches_of,
)


@dataclass(frozen=True, slots=True)
class NumberedNeeds:
    """Tools of every job by number, every number from 0 on among them, and how many stations hold them."""

    jobs: tuple[tuple[int, ...], ...]
    stations: int

    @property
    def tools(self) -> int:
        """How many different ones there are."""
        return 1 + max(tool for job in self.jobs for tool in job)

    def pairs(self) -> Ints:
        """(jobs, jobs): switches of every two by themselves: those tools of both that have no station."""
        needed = np.zeros((len(self.jobs), self.tools), np.int64)
        for job, tools in enumerate(self.jobs):
            needed[job, list(tools)] = 1
        sizes = needed.sum(axis=1)
        both: Ints = sizes[:, None] + sizes[None, :] - needed @ needed.T
        return np.maximum(0, both - self.stations)

    def as_arrays(self, charge: float = 0.0) -> Needs:
        """What kernels read.

        Parameters
        ----------
        charge
            Of a tool that could not be kept over a stretch as long as the order, in switches; shorter ones
            are charged in proportion.
        """
        jobs = len(self.jobs)
        return Needs(
            np.cumsum([0, *(len(tools) for tools in self.jobs)], dtype=np.int64),
            np.array([tool for tools in self.jobs for tool in tools], np.int64),
            np.array([self.stations], np.int64),
            (charge * SWITCH * np.arange(jobs + 1) / jobs).astype(np.int64),
        )


@dataclass(frozen=True, slots=True)
class ToolSettings:
    """What makes one island differ from another.

    Parameters
    ----------
    hot, cold
        Mean of what is accepted on top, in switches, at the beginning and at the end of a cycle.
    charge
        See `NumberedNeeds.as_arrays`: it tells orders with the same switches apart.
    narrow
        How much more frequent changes of narrow spans are, see `Cycle`.
    """

    hot: float
    cold: float
    charge: float
    narrow: float


SETTINGS = (
    ToolSettings(hot=0.4, cold=0.1, charge=0.1, narrow=1.5),
    ToolSettings(hot=0.3, cold=0.05, charge=0.0, narrow=1.5),
    ToolSettings(hot=0.5, cold=0.1, charge=0.0, narrow=1.0),
    ToolSettings(hot=0.3, cold=0.1, charge=0.05, narrow=2.0),
)
FIRST_CYCLE = 2_000
"""Changes of the first cycle for every job."""
GROWTH = 1.5
"""By how much each next cycle is longer."""
ROUND_WORK = 1_600_000
"""Changes of an island in a round, times the jobs: about a tenth of a second for up to 60 jobs."""
LEAST_ROUND = 200
EXCHANGE_EVERY = 20


def tool_rounds(jobs: int) -> Rounds:
    """How work is dealt out; changes of longer orders take longer."""
    return Rounds(max(LEAST_ROUND, ROUND_WORK // jobs), EXCHANGE_EVERY)


def tool_islands(needs: NumberedNeeds, seed: int, halt: Halt) -> list[Island]:
    """The islands of one search; at least 2 jobs."""
    start = most_in_common(needs)
    return [
        ToolIsland(needs, start, settings, seeded(seed, stream), halt)
        for stream, settings in enumerate(SETTINGS)
    ]


class ToolIsland:
    """Cycles of annealing, each longer than the one before and from the best order there is."""

    def __init__(
        self,
        needs: NumberedNeeds,
        start: Ints,
        settings: ToolSettings,
        randomness: Randomness,
        halt: Halt,
    ) -> None:
        self._needs = needs.as_arrays(settings.charge)
        self._tools = needs.tools
        self._cycle = Cycle(settings.hot, settings.cold, FIRST_CYCLE * len(start), settings.narrow)
        self._halt = halt
        self._search = empty_search(len(start), self._tools, randomness)
        begin(self._needs, self._search, start)

    def advance(self, work: int) -> int:
        done = 0
        while done < work:
            tried = search_orders(self._needs, self._search, self._cycle, work - done, self._halt)
            done += tried
            if self._search.numbers[AT] < self._cycle.changes:
                break
            self._cycle = self._cycle._replace(changes=round(self._cycle.changes * GROWTH))
            begin(self._needs, self._search, self._search.best.copy())
        return done

    @property
    def best(self) -> tuple[Score, Order]:
        return (float(self._search.numbers[BEST]),), self._search.best

    def adopt(self, order: Order) -> None:
        """The next cycle begins from it: this one is on its way and goes on."""
        order_switches = switches_of(self._needs, order, self._tools)
        if order_switches < self._search.numbers[BEST]:
            self._search.numbers[BEST] = order_switches
            self._search.best[:] = order


def most_in_common(needs: NumberedNeeds) -> Ints:
    """From the job with most tools on, always to the one with fewest tools that the one before has not."""
    sets = [frozenset(tools) for tools in needs.jobs]
    waiting: Sequence[int] = range(len(sets))
    order = [max(waiting, key=lambda job: len(sets[job]))]
    for _ in range(len(sets) - 1):
        waiting = [job for job in waiting if job != order[-1]]
        held = sets[order[-1]]
        order.append(min(waiting, key=lambda job: len(sets[job] - held)))
    return np.array(order, np.int64)
