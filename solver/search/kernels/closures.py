"""A line's closures, as kernels read them: rows of start and end in ms, in order."""

from __future__ import annotations

import numpy as np

from solver.search.kernels.compiled import part
from solver.search.kernels.tables import Ints


@part
def first_ending_after(closures: Ints, from_idx: int, at_ms: int) -> int:
    """Index of the first closure that ends after an instant; the search begins at `from_idx`."""
    idx = from_idx
    while idx < closures.shape[0] and closures[np.uint64(idx), 1] <= at_ms:
        idx += 1
    return idx


@part
def open_between(closures: Ints, from_idx: int, start_ms: int, end_ms: int) -> int:
    """Open time between two instants; no closure before `from_idx` may end after the start."""
    if end_ms <= start_ms:
        return 0
    open_ms = end_ms - start_ms
    idx = from_idx
    while idx < closures.shape[0] and closures[np.uint64(idx), 0] < end_ms:
        closed_ms = min(closures[np.uint64(idx), 1], end_ms) - max(closures[np.uint64(idx), 0], start_ms)
        if closed_ms > 0:
            open_ms -= closed_ms
        idx += 1
    return open_ms


@part
def work_through(
    closures: Ints, from_idx: int, start_ms: int, work_ms: int, interruption_ms: tuple[int, int, int]
) -> tuple[int, int, int]:
    """When work is done that begins in open time, and how many closures interrupted it: shortly, and
    long enough to go cold.

    `interruption_ms` has what either kind costs and the rest after which the line is cold.
    """
    at_ms, left_ms, again_ms = start_ms, work_ms, 0
    short = long = 0
    idx = from_idx
    while True:
        while idx < closures.shape[0] and closures[np.uint64(idx), 0] < at_ms:
            idx += 1
        if idx == closures.shape[0] or at_ms + again_ms + left_ms <= closures[np.uint64(idx), 0]:
            return at_ms + again_ms + left_ms, short, long
        open_ms = closures[np.uint64(idx), 0] - at_ms
        left_ms -= max(0, open_ms - again_ms)
        again_ms = max(0, again_ms - open_ms)
        if closures[np.uint64(idx), 1] - closures[np.uint64(idx), 0] > interruption_ms[2]:
            long += 1
            again_ms += interruption_ms[1]
        else:
            short += 1
            again_ms += interruption_ms[0]
        at_ms = closures[np.uint64(idx), 1]
        idx += 1
