"""The bound of one search, worked out before its first round within a share of its time."""

from __future__ import annotations

import math

from solver.search.islands import Halt
from solver.search.kernels.tables import Floats
from solver.search.stop import Stop

TIME_SHARE = 0.25
"""Of the time that is left, which the bound may take."""
MOST_PLACES_UNTIMED = 300
"""Without a time limit larger matrices are not bounded: that could take long."""
MARGIN = 1e-9
"""Relative: a sum in floating point may be off by less."""


class Bounding:
    """What no round trip of a matrix undercuts.

    Attributes
    ----------
    value
        The bound; None before it is worked out, and where it is not.
    """

    def __init__(self, lengths: Floats, stop: Stop, halt: Halt) -> None:
        self.value: float | None = None
        self._lengths = lengths
        self._stop = stop
        self._halt = halt

    def find(self) -> None:
        """Work it out."""
        stop, until_s = self._stop, math.inf
        if stop.time_s is not None:
            until_s = stop.elapsed_s + TIME_SHARE * (stop.time_s - stop.elapsed_s)
        elif len(self._lengths) > MOST_PLACES_UNTIMED:
            return
        # Imported here: a search without a bound does not need the linear solver, which is slow to import.
        from solver.search.setup_bound import setup_bound

        bound = setup_bound(self._lengths, lambda: bool(self._halt[0]) or stop.elapsed_s > until_s)
        self.value = bound.value * (1 - MARGIN)
