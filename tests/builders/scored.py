"""Orders scored by the scheduler, as a search ranks them: an independent measure of what kernels find."""

from __future__ import annotations

from dataclasses import dataclass

from solver.account import placed_jobs
from solver.lock_keeping import broken_locks
from solver.schedule import Scheduler
from solver.sequence import Order

TOLERANCE = 1e-9
"""Relative: costs closer than this count as equal."""


@dataclass(frozen=True, slots=True)
class Score:
    """How good an order is: jobs left out and locks broken first, then the weighed cost."""

    faults: int
    eur: float

    def better_than(self, other: Score) -> bool:
        if self.faults != other.faults:
            return self.faults < other.faults
        return self.eur < other.eur - TOLERANCE * max(1.0, abs(other.eur))


def scored(scheduler: Scheduler, order: Order) -> Score:
    """The score of an order."""
    state = scheduler.run(
        [
            [scheduler.plan(line_idx, placement) for placement in placements]
            for line_idx, placements in enumerate(order)
        ]
    )
    if state is None:
        raise RuntimeError("a schedule without a limit came to none")
    faults = len(state.dropped)
    locks = scheduler.problem.locks
    if locks:
        faults += len(broken_locks(locks, placed_jobs(scheduler, state)))
    return Score(faults, state.eur)
