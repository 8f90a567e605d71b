"""A lower bound of set-ups alone: the linear relaxation of the round trip with its subtour cuts.

Least Σ c[i,j]·x[i,j] over 0 ≤ x ≤ 1 where every node is entered once and left once, and every proper
subset of the nodes is left at least once (Dantzig, Fulkerson and Johnson, Operations Research 2, 1954).
Subsets that are not left are found as strong components of the arcs in use, then as minimum cuts from
the first node to every other one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from ortools.graph.python import max_flow  # type: ignore[import-untyped]
from ortools.linear_solver import pywraplp  # type: ignore[import-untyped]

from tests.bench.instances import Instance, Matrix
from tests.bench.round_trips import round_trip

NOTHING = 1e-7
"""Arcs with less flow than this are not in use."""
LEAST_VIOLATION = 1e-4
"""A subset is cut off where it is left by less than one by more than this."""
FLOW_UNITS = 10_000_000
"""Flow of one, in the whole numbers that the maximum flow is computed with."""

Arc = tuple[int, int]
Flow = dict[Arc, float]


class NoBoundError(RuntimeError):
    """The linear solver did not solve the relaxation."""


@dataclass(frozen=True)
class SetupBound:
    """What an instance's set-ups come to at least.

    Parameters
    ----------
    relaxation
        The value of the linear relaxation.
    cuts
        Subsets that had to be cut off.
    """

    relaxation: float
    cuts: int

    @property
    def least_value(self) -> int:
        """The bound of whole set-ups: the relaxation rounded up, less what the solver may be off by."""
        return math.ceil(self.relaxation - 1e-6 * max(1.0, abs(self.relaxation)))


def setup_bound(instance: Instance) -> SetupBound:
    """The bound of an instance without due times.

    Raises
    ------
    ValueError
        Where lateness counts: set-ups alone do not bound it.
    NoBoundError
        Where the linear solver fails.
    """
    if instance.due:
        raise ValueError(f"{instance.name}: this bounds set-ups, not lateness")
    lengths = round_trip(instance)
    if len(lengths) == 1:
        return SetupBound(float(lengths[0][0]), 0)
    relaxation = _Relaxation(lengths)
    cuts = 0
    while True:
        flow = relaxation.solved()
        subsets = _not_left(flow, len(lengths))
        if not subsets:
            return SetupBound(relaxation.value, cuts)
        for subset in subsets:
            relaxation.cut_off(subset)
        cuts += len(subsets)


class _Relaxation:
    """The linear programme, to which cuts are added."""

    def __init__(self, lengths: Matrix) -> None:
        self._nodes = range(len(lengths))
        self._solver: Any = pywraplp.Solver.CreateSolver("GLOP")
        self._use: dict[Arc, Any] = {
            (tail, head): self._solver.NumVar(0.0, 1.0, "")
            for tail in self._nodes
            for head in self._nodes
            if tail != head
        }
        objective = self._solver.Objective()
        left = [self._solver.Constraint(1.0, 1.0) for _ in self._nodes]
        entered = [self._solver.Constraint(1.0, 1.0) for _ in self._nodes]
        for (tail, head), use in self._use.items():
            objective.SetCoefficient(use, float(lengths[tail][head]))
            left[tail].SetCoefficient(use, 1.0)
            entered[head].SetCoefficient(use, 1.0)
        objective.SetMinimization()

    @property
    def value(self) -> float:
        """Of the last solution."""
        return float(self._solver.Objective().Value())

    def solved(self) -> Flow:
        """The arcs in use in the best solution, and how much."""
        if self._solver.Solve() != pywraplp.Solver.OPTIMAL:
            raise NoBoundError("the relaxation was not solved to its optimum")
        values = ((arc, use.solution_value()) for arc, use in self._use.items())
        return {arc: value for arc, value in values if value > NOTHING}

    def cut_off(self, subset: frozenset[int]) -> None:
        """From now on the subset is left at least once."""
        leave = self._solver.Constraint(1.0, self._solver.infinity())
        for tail in subset:
            for head in self._nodes:
                if head not in subset:
                    leave.SetCoefficient(self._use[tail, head], 1.0)


def _not_left(flow: Flow, nodes: int) -> list[frozenset[int]]:
    """Subsets of the nodes that a flow leaves less than once."""
    components = _components(flow, nodes)
    if len(components) > 1:
        # A component may be left within the rules; the one that no arc leaves is not.
        return [subset for subset in components if _leaving(flow, subset) < 1 - LEAST_VIOLATION]
    return list(dict.fromkeys(_minimum_cuts(flow, nodes)))


def _leaving(flow: Flow, subset: frozenset[int]) -> float:
    return sum(value for (tail, head), value in flow.items() if tail in subset and head not in subset)


def _minimum_cuts(flow: Flow, nodes: int) -> Iterator[frozenset[int]]:
    network = max_flow.SimpleMaxFlow()
    tails, heads = _ends(flow)
    capacities = np.array([round(value * FLOW_UNITS) for value in flow.values()], dtype=np.int64)
    network.add_arcs_with_capacity(tails, heads, capacities)
    for node in range(1, nodes):
        network.solve(0, node)
        if network.optimal_flow() < (1 - LEAST_VIOLATION) * FLOW_UNITS:
            yield frozenset(network.get_source_side_min_cut())


def _ends(flow: Flow) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    arcs = np.array(list(flow), dtype=np.int32)
    return np.ascontiguousarray(arcs[:, 0]), np.ascontiguousarray(arcs[:, 1])


def _components(flow: Flow, nodes: int) -> list[frozenset[int]]:
    """Strong components: a search forwards numbers the nodes, one backwards gathers them (Kosaraju)."""
    forwards: list[list[int]] = [[] for _ in range(nodes)]
    backwards: list[list[int]] = [[] for _ in range(nodes)]
    for tail, head in flow:
        forwards[tail].append(head)
        backwards[head].append(tail)
    finished: list[int] = []
    seen: set[int] = set()
    for root in range(nodes):
        finished.extend(_reached(root, forwards, seen))
    gathered: set[int] = set()
    components = (frozenset(_reached(root, backwards, gathered)) for root in reversed(finished))
    return [component for component in components if component]


def _reached(root: int, heads: Sequence[Sequence[int]], seen: set[int]) -> list[int]:
    """Nodes reached from a root and not seen before, those first that are left first."""
    if root in seen:
        return []
    seen.add(root)
    finished: list[int] = []
    trail = [(root, iter(heads[root]))]
    while trail:
        node, onward = trail[-1]
        head = next((head for head in onward if head not in seen), None)
        if head is None:
            finished.append(node)
            trail.pop()
        else:
            seen.add(head)
            trail.append((head, iter(heads[head])))
    return finished
