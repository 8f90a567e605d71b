"""Islands that look for a tour of least set-up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solver.search.islands import Halt, Island, Order, Rounds, Score
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tables import Randomness
from solver.search.kernels.tour import BEST, Arcs, begin, empty_tour, search_tour
from solver.search.nearest import nearest_columns

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class TourSettings:
    """What makes one island differ from another.

    Parameters
    ----------
    near
        Successors and predecessors of a place that are tried, cheapest first; at least 1.
    longest_kick
        Longest of the three segments that a kick reorders; at least 1.
    warmth
        How much dearer an accepted tour may be, as a share of its mean arc (exponentially distributed
        with this mean); at least 0.
    """

    near: int
    longest_kick: int
    warmth: float


SETTINGS = (
    TourSettings(near=8, longest_kick=50, warmth=0.02),
    TourSettings(near=12, longest_kick=10, warmth=0.1),
    TourSettings(near=16, longest_kick=10, warmth=0.02),
    TourSettings(near=12, longest_kick=50, warmth=0.3),
)
ROUND_WORK = 8_000_000
"""Moves of an island in a round: about a tenth of a second for up to `USUAL_PLACES`."""
USUAL_PLACES = 200
EXCHANGE_EVERY = 10


def tour_rounds(places: int) -> Rounds:
    """How work is dealt out; moves of longer tours take longer to carry out."""
    return Rounds(ROUND_WORK * USUAL_PLACES // max(USUAL_PLACES, places), EXCHANGE_EVERY)


def tour_islands(cost: Floats, has_gap: bool, least_gain: float, seed: int, halt: Halt) -> list[Island]:
    """The islands of one search.

    Parameters
    ----------
    cost
        Cost of the arc from the place of the row to the place of the column, at least 0; at least 4 places.
    has_gap
        Whether the last place is the gap between last and first job of an open path. Orders then begin
        behind it and do not hold it.
    least_gain
        Smallest difference between the costs of two tours that counts; above 0.
    """
    near = min(max(settings.near for settings in SETTINGS), len(cost) - 1)
    arcs = Arcs(np.ascontiguousarray(cost), nearest_columns(cost, near), nearest_columns(cost.T, near))
    start = _nearest_neighbour_tour(cost)
    return [
        TourIsland(arcs, start, has_gap, least_gain, settings, seeded(seed, stream), halt)
        for stream, settings in enumerate(SETTINGS)
    ]


class TourIsland:
    """Iterated local search of a tour."""

    def __init__(
        self,
        arcs: Arcs,
        start: Ints,
        has_gap: bool,
        least_gain: float,
        settings: TourSettings,
        randomness: Randomness,
        halt: Halt,
    ) -> None:
        places = len(start)
        near = min(settings.near, places - 1)
        self._arcs = Arcs(
            arcs.cost,
            np.ascontiguousarray(arcs.out_near[:, :near]),
            np.ascontiguousarray(arcs.in_near[:, :near]),
        )
        self._has_gap = has_gap
        self._halt = halt
        self._tolerance = least_gain / 2
        self._longest_kick = max(1, min(settings.longest_kick, (places - 1) // 3))
        self._tour = empty_tour(places, randomness)
        begin(self._arcs, self._tour, start)
        self._allowance = settings.warmth * float(self._tour.costs[BEST]) / places

    def advance(self, work: int) -> int:
        return search_tour(
            self._arcs, self._tour, self._longest_kick, self._allowance, self._tolerance, work, self._halt
        )

    @property
    def best(self) -> tuple[Score, Order]:
        order = self._tour.best
        if self._has_gap:
            gap = int(np.flatnonzero(order == len(order) - 1)[0])
            order = np.roll(order, -gap)[1:]
        return (float(self._tour.costs[BEST]),), order

    def adopt(self, order: Order) -> None:
        begin(self._arcs, self._tour, np.append(order, len(order)) if self._has_gap else order)


def _nearest_neighbour_tour(cost: Floats) -> Ints:
    """From the last place on, always to the cheapest place not yet seen."""
    open_cost = cost.copy()
    tour = np.empty(len(cost), dtype=np.int64)
    place = len(cost) - 1
    for step in range(len(cost)):
        tour[step] = place
        open_cost[:, place] = np.inf
        place = int(np.argmin(open_cost[place]))
    return tour
