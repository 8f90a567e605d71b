"""Proofs of queues by set-ups alone, as round trips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solver.search.bounding import Bounding
from solver.search.islands import Order
from solver.search.kernels.tables import Floats
from solver.search.proving import UNCERTAIN, Answer, Ended


class TourProver:
    """Proofs of round trips over `lengths`, whose last place is no job but the gap of an open path where
    `has_gap`; from the relaxation that a bound comes from, without which there are none.
    """

    most_effort = 8.0

    def __init__(self, lengths: Floats, has_gap: bool, bounding: Bounding) -> None:
        self._lengths = lengths
        self._has_gap = has_gap
        self._bounding = bounding

    def least(self) -> float:
        return 0.0

    def cheaper(self, undercut: float, order: Order, effort: float, ended: Ended) -> Answer:
        # Imported here: searches without a proof do not need the constraint solver, which is slow to import.
        from solver.search.exact_tours import cheaper_tour

        relaxed = self._bounding.relaxed
        if relaxed is None:
            return UNCERTAIN
        gap = len(self._lengths) - 1
        tour = np.append(order, gap) if self._has_gap else order
        answer = cheaper_tour(self._lengths, relaxed, undercut, tour, effort, ended)
        if answer.order is None or not self._has_gap:
            return answer
        at = int(np.flatnonzero(answer.order == gap)[0])
        return replace(answer, order=np.roll(answer.order, -at)[1:])
