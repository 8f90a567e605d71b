"""The fewest tool switches of a few jobs, proved before the search begins."""

from __future__ import annotations

import math

import numpy as np

from solver.search.bounding import TIME_SHARE
from solver.search.islands import Halt, Island
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tool_proof import FEWEST, LENGTH, Proof, begun_proof, go_on
from solver.search.kernels.tool_switching import BEST, Cycle, begin, empty_search, search_orders
from solver.search.stop import Stop
from solver.search.tool_islands import SETTINGS, NumberedNeeds, most_in_common

MOST_JOBS = 14
"""Longer queues are not proved: the beginnings of their orders are too many."""
MOST_BEGINNINGS = 10_000_000
SLICE = 20_000
"""Beginnings between two looks at limits and halt flag: a few milliseconds."""
FIRST_CHANGES = 1_000
"""Changes for every job that are tried first: beginnings are measured by a good order."""


class Proving:
    """A proof of one queue of 3 jobs or more.

    Attributes
    ----------
    fewest
        Switches that no order undercuts; None before that is proved, and where it is not.
    """

    def __init__(self, needs: NumberedNeeds, stop: Stop, halt: Halt) -> None:
        self.fewest: int | None = None
        self._needs = needs
        self._stop = stop
        self._halt = halt

    def prove(self, island: Island) -> None:
        """Look for it within a share of the time that is left; an island takes up the best order."""
        if len(self._needs.jobs) > MOST_JOBS:
            return
        until_s = math.inf
        if self._stop.time_s is not None:
            until_s = self._stop.elapsed_s + TIME_SHARE * (self._stop.time_s - self._stop.elapsed_s)
        needs, proof, tried = self._needs.as_arrays(), self._begun(), 0
        while proof.numbers[LENGTH] >= 0:
            if self._halt[0] or tried >= MOST_BEGINNINGS or self._stop.elapsed_s > until_s:
                return
            tried += go_on(needs, proof, SLICE)
        island.adopt(proof.best)
        self.fewest = int(proof.numbers[FEWEST])

    def _begun(self) -> Proof:
        """A proof that begins with a good order."""
        needs, start = self._needs.as_arrays(), most_in_common(self._needs)
        search = empty_search(len(start), self._needs.tools, seeded(0))
        begin(needs, search, start)
        changes, settings = FIRST_CHANGES * len(start), SETTINGS[0]
        cycle = Cycle(settings.hot, settings.cold, changes, settings.narrow)
        search_orders(needs, search, cycle, changes, self._halt)
        fewest = int(search.numbers[BEST])
        return begun_proof(needs, np.array(search.best), fewest, self._needs.pairs())
