"""A lower bound of round trips: the linear relaxation with its subtour cuts, priced so that it always holds.

Least Σ c[i,j]·x[i,j] over 0 ≤ x ≤ 1 where every place is entered once and left once, and every proper
subset of the places is left at least once (Dantzig, Fulkerson and Johnson, Operations Research 2, 1954).
Subsets that are not left are found as strong components of the arcs in use, then as minimum cuts from the
first place to every other one. Only arcs that may pay are in the programme.

Whatever prices u of leaving, v of entering and w ≥ 0 of subsets the linear solver gives, Σ u + Σ v + Σ w
+ Σ min(0, c[i,j] − u[i] − v[j] − Σ w over the subsets that the arc leaves) is a bound. So it holds between
two steps, and however inexact the solver is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from ortools.graph.python import max_flow  # type: ignore[import-untyped]
from ortools.linear_solver import pywraplp  # type: ignore[import-untyped]

from solver.search.components import strong_components
from solver.search.kernels.tables import Floats, Ints

FEWEST_PLACES = 3
NEAR_PLACES = 8
"""Arcs of every place, either way, that the programme begins with."""
MOST_ADDED = 6
"""Arcs of every place that are added at a time."""
NOTHING = 1e-7
"""Arcs with less flow than this are not in use; relative to the longest, arcs that pay less are not added."""
LEAST_VIOLATION = 1e-4
"""A subset is cut off where it is left by less than one by more than this."""
SLICE_MS = 100
"""The linear solver comes back so often to be asked whether it should end; it goes on where it was."""
FLOW_UNITS = 10_000_000
"""Flow of one, in the whole numbers that the maximum flow is computed with."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SetupBound:
    """What a round trip costs at least.

    Parameters
    ----------
    value
        The bound.
    cuts
        Subsets that had to be cut off.
    finished
        Whether the relaxation was solved; it was not where it was told to end.
    detours
        (places, places) by how much a round trip over an arc costs more than `value` at least; of arcs from
        a place to itself nothing.
    """

    value: float
    cuts: int
    finished: bool
    detours: Floats


def setup_bound(lengths: Floats, ended: Callable[[], bool] = lambda: False) -> SetupBound:
    """The bound of a matrix of lengths, all finite and at least 0.

    Parameters
    ----------
    lengths
        (places, places) of the column's place right after the row's; the diagonal is not looked at.
    ended
        Asked between two steps; a true answer ends with the bound so far.
    """
    places = len(lengths)
    if places < FEWEST_PLACES:
        only = float(sum(lengths[idx, (idx + 1) % places] for idx in range(places)))
        return SetupBound(only, 0, True, np.zeros(lengths.shape))
    relaxation = _Relaxation(lengths)
    best, detours = 0.0, np.zeros(lengths.shape)
    finished = False
    while not ended() and relaxation.solve(ended):
        if relaxation.bound >= best:
            best, detours = relaxation.bound, relaxation.detours
        if relaxation.add_arcs():
            continue
        subsets = list(_not_left(*relaxation.flow, places, ended))
        if not subsets:
            finished = not ended()
            break
        for subset in subsets:
            relaxation.cut_off(subset)
    return SetupBound(best, relaxation.cuts, finished, detours)


class _Relaxation:
    """The linear programme, to which arcs and cuts are added."""

    def __init__(self, lengths: Floats) -> None:
        self._lengths = lengths.copy()
        np.fill_diagonal(self._lengths, np.inf)
        self._places = len(lengths)
        self._least_gain = NOTHING * max(1e-9, float(lengths.max()))
        self._solver: Any = pywraplp.Solver.CreateSolver("GLOP")
        self._left = [self._solver.Constraint(1.0, 1.0) for _ in range(self._places)]
        self._entered = [self._solver.Constraint(1.0, 1.0) for _ in range(self._places)]
        self._subsets: list[Flags] = []
        self._rows: list[Any] = []
        self._arcs: list[tuple[int, int]] = []
        self._uses: list[Any] = []
        self._has: Flags = np.zeros(lengths.shape, np.bool_)
        self._reduced: Floats = self._lengths
        self._solver.Objective().SetMinimization()
        self._solver.SetTimeLimit(SLICE_MS)
        self._parameters = pywraplp.MPSolverParameters()
        # What is done before solving would be done anew after every slice.
        self._parameters.SetIntegerParam(self._parameters.PRESOLVE, self._parameters.PRESOLVE_OFF)
        self._begin()

    @property
    def cuts(self) -> int:
        """How many subsets were cut off."""
        return len(self._subsets)

    def solve(self, ended: Callable[[], bool]) -> bool:
        """Solve it as it is; whether that went well, and was not told to end."""
        while (status := self._solver.Solve(self._parameters)) != pywraplp.Solver.OPTIMAL:
            if status not in (pywraplp.Solver.NOT_SOLVED, pywraplp.Solver.FEASIBLE) or ended():
                return False
        leaving = np.array([row.dual_value() for row in self._left])
        entering = np.array([row.dual_value() for row in self._entered])
        prices = np.array([max(0.0, row.dual_value()) for row in self._rows])
        reduced = self._lengths - leaving[:, None] - entering[None, :]
        for price, subset in zip(prices, self._subsets, strict=True):
            if price > 0:
                reduced[np.ix_(subset, ~subset)] -= price
        self._reduced = reduced
        paid = np.minimum(reduced, 0.0)
        np.fill_diagonal(paid, 0.0)
        self.bound = float(leaving.sum() + entering.sum() + prices.sum() + paid.sum())
        return True

    @property
    def detours(self) -> Floats:
        """(places, places) what an arc adds to the bound at the prices of the last solution: whoever takes it
        pays its price, if that is above 0, on top of what the bound has paid.
        """
        detours = np.maximum(self._reduced, 0.0)
        np.fill_diagonal(detours, 0.0)
        return detours

    @property
    def flow(self) -> tuple[Ints, Floats]:
        """(arcs in use, 2) and how much they are used."""
        values = np.array([use.solution_value() for use in self._uses])
        used = values > NOTHING
        return np.array(self._arcs, np.int64)[used], values[used]

    def add_arcs(self) -> bool:
        """Add those arcs that would pay most at today's prices; whether there are any."""
        gains = np.where(self._has, 0.0, self._reduced)
        np.fill_diagonal(gains, 0.0)
        pays = np.argwhere(gains < -self._least_gain)
        if not len(pays):
            return False
        most = MOST_ADDED * self._places
        for tail, head in pays[np.argsort(gains[pays[:, 0], pays[:, 1]], kind="stable")[:most]]:
            self._add(int(tail), int(head))
        return True

    def cut_off(self, subset: Flags) -> None:
        """From now on the subset is left at least once."""
        row = self._solver.Constraint(1.0, self._solver.infinity())
        for (tail, head), use in zip(self._arcs, self._uses, strict=True):
            if subset[tail] and not subset[head]:
                row.SetCoefficient(use, 1.0)
        self._subsets.append(subset)
        self._rows.append(row)

    def _begin(self) -> None:
        near = min(NEAR_PLACES, self._places - 1)
        for place in range(self._places):
            # One round trip, so that there is a solution whatever is cut off.
            self._add(place, (place + 1) % self._places)
            for other in np.argpartition(self._lengths[place], near - 1)[:near]:
                self._add(place, int(other))
            for other in np.argpartition(self._lengths[:, place], near - 1)[:near]:
                self._add(int(other), place)

    def _add(self, tail: int, head: int) -> None:
        if tail == head or self._has[tail, head]:
            return
        use = self._solver.NumVar(0.0, 1.0, "")
        self._solver.Objective().SetCoefficient(use, float(self._lengths[tail, head]))
        self._left[tail].SetCoefficient(use, 1.0)
        self._entered[head].SetCoefficient(use, 1.0)
        for row, subset in zip(self._rows, self._subsets, strict=True):
            if subset[tail] and not subset[head]:
                row.SetCoefficient(use, 1.0)
        self._has[tail, head] = True
        self._arcs.append((tail, head))
        self._uses.append(use)


def _not_left(arcs: Ints, values: Floats, places: int, ended: Callable[[], bool]) -> Iterator[Flags]:
    """Subsets of the places that a flow leaves less than once."""
    components = strong_components(arcs, places)
    if len(components) > 1:
        # A component may be left within the rules; the one that no arc leaves is not.
        for members in components:
            subset = _flags(members, places)
            if values[subset[arcs[:, 0]] & ~subset[arcs[:, 1]]].sum() < 1 - LEAST_VIOLATION:
                yield subset
        return
    network = max_flow.SimpleMaxFlow()
    tails, heads = np.ascontiguousarray(arcs.T.astype(np.int32))
    network.add_arcs_with_capacity(tails, heads, np.rint(values * FLOW_UNITS).astype(np.int64))
    seen: set[bytes] = set()
    for place in range(1, places):
        if ended():
            return
        network.solve(0, place)
        if network.optimal_flow() < (1 - LEAST_VIOLATION) * FLOW_UNITS:
            subset = _flags(network.get_source_side_min_cut(), places)
            if subset.tobytes() not in seen:
                seen.add(subset.tobytes())
                yield subset


def _flags(members: Any, places: int) -> Flags:
    flags = np.zeros(places, np.bool_)
    flags[np.asarray(members, np.int64)] = True
    return flags
