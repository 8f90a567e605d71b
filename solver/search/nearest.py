"""The few places that each place is nearest to: what neighbourhoods of a search are made of."""

from __future__ import annotations

import numpy as np

from solver.search.kernels.tables import Floats, Ints


def nearest_columns(distance: Floats, count: int) -> Ints:
    """(places, count) the nearest columns of every row, nearest first, ties by column; never the row's own.

    `count` is below the number of places. A pass for each of them takes less than sorting all.
    """
    others = distance.copy()
    np.fill_diagonal(others, np.inf)
    rows = np.arange(len(others))
    found = np.empty((len(others), count), np.int64)
    for rank in range(count):
        found[:, rank] = others.argmin(axis=1)
        others[rows, found[:, rank]] = np.inf
    return found
