"""Whole orders of a plant placed in time."""

from __future__ import annotations

from solver.search.kernels.compiled import compiled
from solver.search.kernels.in_step import place_in_step
from solver.search.kernels.tables import Ints
from solver.search.kernels.walk import NO_LIMIT, begin_from, note_whole_runs


@compiled
def place_order(plant: Ints, orders: Ints) -> int:
    """Place an order of a plant, with a trace of every line; returns `DONE`, or `FULL` where there is no room
    for another changeover.
    """
    begin_from(plant, orders)
    note_whole_runs(plant)
    return place_in_step(plant, NO_LIMIT, True, False)
