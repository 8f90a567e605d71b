"""Round trips by set-ups alone: one that costs less than a given one, or proof of none, by constraint solver.

What the bound leaves open is little, and few arcs fit into it: an arc whose least detour (`setup_bound`)
lifts the bound to the given cost is in no cheaper round trip. Over the arcs that remain a circuit is sought,
with the cost below the given one as a constraint and the given order as a hint.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
from ortools.sat.python import cp_model

from solver.search.kernels.tables import Floats, Ints
from solver.search.proving import NONE_CHEAPER, UNCERTAIN, Answer, Ended
from solver.search.setup_bound import SetupBound

MOST_ARCS = 4_000
"""With more arcs left than these there is no hope of a proof."""
PARTS = 1e10
"""Costs without a common unit are counted in such parts of the given cost, for every place."""
ROUNDING = 1e-10
"""Relative: orders closer than this cost the same but for rounding."""
SMALLEST_UNIT = 1e-6
"""Of the largest cost: a unit below this would be no use."""
ASKED_EVERY_S = 0.02


def open_arcs(lengths: Floats, relaxed: SetupBound, undercut: float) -> Ints:
    """(arcs, 2) those that a round trip cheaper than `undercut` may have."""
    possible = relaxed.value + relaxed.detours < undercut
    possible &= lengths < undercut
    np.fill_diagonal(possible, False)
    return np.argwhere(possible)


def cheaper_tour(
    lengths: Floats,
    relaxed: SetupBound,
    undercut: float,
    order: Ints,
    effort: float,
    ended: Ended,
) -> Answer:
    """The cheapest round trip that costs less than `undercut`.

    Parameters
    ----------
    lengths
        (places, places) of the column's place right after the row's, at least 0.
    order
        The places of the cheapest one so far, as a hint.
    effort
        What the constraint solver may spend, in its own unit, which does not depend on the machine; about a
        second. The answer is uncertain where that does not suffice, or it was told to end.
    """
    arcs = open_arcs(lengths, relaxed, undercut)
    if len(np.unique(arcs[:, 0])) < len(lengths) or len(np.unique(arcs[:, 1])) < len(lengths):
        return NONE_CHEAPER
    if len(arcs) > MOST_ARCS:
        return UNCERTAIN
    model = _Circuit(lengths, arcs, undercut, order)
    return model.solved(effort, ended)


class _Circuit:
    """A model of the arcs that remain."""

    def __init__(self, lengths: Floats, arcs: Ints, undercut: float, order: Ints) -> None:
        self._lengths = lengths
        self._undercut = undercut
        self._model = cp_model.CpModel()
        self._used = {(int(tail), int(head)): self._model.new_bool_var("") for tail, head in arcs}
        self._model.add_circuit([(tail, head, used) for (tail, head), used in self._used.items()])
        costs = lengths[arcs[:, 0], arcs[:, 1]]
        unit = _common_unit(costs, ROUNDING * undercut / len(lengths))
        parts = 1 / unit if unit else PARTS * len(lengths) / undercut
        # Rounded down without a unit, so that no order is taken for dearer than it is.
        counted = (np.rint(costs * parts) if unit else np.floor(costs * parts)).astype(np.int64).tolist()
        total = sum(used * count for used, count in zip(self._used.values(), counted, strict=True))
        self._model.add(total <= math.ceil(undercut * parts) - 1)
        self._model.minimize(total)
        following = dict(zip(order.tolist(), np.roll(order, -1).tolist(), strict=True))
        for (tail, head), used in self._used.items():
            self._model.add_hint(used, following[tail] == head)

    def solved(self, effort: float, ended: Ended) -> Answer:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
        solver.parameters.max_deterministic_time = effort
        with _asking(ended, solver.stop_search):
            status = solver.solve(self._model)
        if status == cp_model.INFEASIBLE:
            return NONE_CHEAPER
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return UNCERTAIN
        following = {tail: head for (tail, head), used in self._used.items() if solver.value(used)}
        order = [0]
        while len(order) < len(following):
            order.append(following[order[-1]])
        cost = sum(float(self._lengths[tail, head]) for tail, head in following.items())
        is_cheaper = cost < self._undercut
        return Answer(np.array(order, np.int64) if is_cheaper else None, status == cp_model.OPTIMAL, cost)


def _common_unit(costs: Floats, tolerance: float) -> float:
    """A unit of which all costs are whole multiples, by Euclid's algorithm; 0 where there is none that is not
    lost in rounding. Costs that are known to have one take far less effort.
    """
    unit = 0.0
    for cost in np.unique(costs).tolist():
        while cost > SMALLEST_UNIT * costs.max():
            unit, cost = cost, abs(math.remainder(unit, cost))
    if not unit:
        return 0.0
    unit = float(costs.max() / np.rint(costs.max() / unit))
    is_common = (np.abs(costs - unit * np.rint(costs / unit)) <= tolerance).all()
    return unit if is_common else 0.0


@contextmanager
def _asking(ended: Ended, stop: Callable[[], None]) -> Iterator[None]:
    """Within this block it is asked again and again whether to end, and if so, stopped."""
    done = threading.Event()

    def ask() -> None:
        while not done.wait(ASKED_EVERY_S):
            if ended():
                stop()

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    try:
        yield
    finally:
        done.set()
        asking.join()
