"""The bound of one search, worked out before its first round within a share of its time."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from solver.search.islands import Halt
from solver.search.kernels.tables import Floats
from solver.search.stop import Stop

if TYPE_CHECKING:
    from solver.search.setup_bound import SetupBound

TIME_SHARE, WEAK_TIME_SHARE = 0.25, 0.1
"""Of the time that is left, which a close bound may take, and one that is weak."""
MOST_PLACES_UNTIMED = 300
"""Without a time limit larger matrices are not bounded: that could take long."""
MARGIN = 1e-9
"""Relative: a sum in floating point may be off by less."""


@dataclass(frozen=True, slots=True)
class LeastCosts:
    """What any order costs at least: `fixed`, and a round trip over `lengths`, which are from the row's place
    to the column's.
    """

    fixed: float
    lengths: Floats


class Bounding:
    """What no order undercuts.

    Attributes
    ----------
    value
        The bound; None before it is worked out, and where it is not.
    relaxed
        The relaxation that it comes from, without what is fixed; None as long as there is no bound.
    """

    def __init__(
        self, costs: Callable[[], LeastCosts | None], time_share: float, stop: Stop, halt: Halt
    ) -> None:
        self.value: float | None = None
        self.relaxed: SetupBound | None = None
        self._costs = costs
        self._time_share = time_share
        self._stop = stop
        self._halt = halt

    def find(self) -> None:
        """Work it out, within a share of the time that is left."""
        # Imported here: a search without a bound does not need the linear solver, which is slow to import.
        from solver.search.setup_bound import setup_bound

        stop, until_s = self._stop, math.inf
        costs = self._costs()
        if costs is None:
            return
        if stop.time_s is not None:
            until_s = stop.elapsed_s + self._time_share * (stop.time_s - stop.elapsed_s)
        elif len(costs.lengths) > MOST_PLACES_UNTIMED:
            return
        relaxed = setup_bound(costs.lengths, lambda: bool(self._halt[0]) or stop.elapsed_s > until_s)
        self.relaxed = relaxed
        self.value = (relaxed.value + costs.fixed) * (1 - MARGIN)


def reached(bound: float) -> float:
    """What an order may cost to be as good as a bound, but for rounding."""
    return bound + 3 * MARGIN * max(1.0, abs(bound))
