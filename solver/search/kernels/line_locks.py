"""Locks that an order of one line breaks."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.search.kernels.address_book import (
    AT_DROPPED,
    flags,
    plan_rows,
)
from solver.search.kernels.compiled import part
from solver.search.kernels.tables import Ints, Rows

LOCK = np.dtype([("kind", "i8"), ("job", "i8"), ("at", "i8"), ("members_from", "i8"), ("members_to", "i8")])
"""A lock: `at` is a start in ms, a position from 1, or the job that must come later."""
FIXED_START, AT_POSITION, BEFORE_ANOTHER, TOGETHER = 0, 1, 2, 3


class LockTables(NamedTuple):
    """Locks and the jobs of those that keep several together.

    `places` (jobs,) is room for positions, which are counted from 1 without jobs that are left out; 0 is
    not placed.
    """

    locks: Rows
    members: Ints
    places: Ints


@part
def broken_locks(book: Ints, locks: LockTables, order: Ints, trace: Ints) -> int:
    """How many locks an order breaks; a lock on a job that is left out binds nobody.

    `trace` has the starts; while it is empty, fixed starts count as kept.
    """
    places = locks.places
    places[:] = 0
    placed = 0
    for position in range(order.shape[0]):
        job = plan_rows(book)[order[position]]["job"]
        if not flags(book, AT_DROPPED)[job]:
            placed += 1
            places[job] = placed
    broken = 0
    for idx in range(locks.locks.shape[0]):
        lock = locks.locks[idx]
        place = places[lock["job"]]
        if lock["kind"] == TOGETHER:
            broken += _parted(locks, lock["members_from"], lock["members_to"])
        elif place == 0:
            continue
        elif lock["kind"] == AT_POSITION:
            broken += place != lock["at"]
        elif lock["kind"] == BEFORE_ANOTHER:
            broken += places[lock["at"]] != 0 and place > places[lock["at"]]
        elif trace.shape[0] > 0:
            broken += _start_ms(book, order, trace, lock["job"]) != lock["at"]
    return broken


@part
def _parted(locks: LockTables, members_from: int, members_to: int) -> int:
    first, last, count = locks.places.shape[0] + 1, 0, 0
    for member in range(members_from, members_to):
        place = locks.places[locks.members[member]]
        if place > 0:
            first, last, count = min(first, place), max(last, place), count + 1
    return int(count > 0 and last - first != count - 1)


@part
def _start_ms(book: Ints, order: Ints, trace: Ints, job: int) -> int:
    for position in range(order.shape[0]):
        if plan_rows(book)[order[position]]["job"] == job:
            return int(trace[position, 0])
    return -1
