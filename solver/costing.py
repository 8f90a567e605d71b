"""What orders come to, several at once: the port through which reasons ask, and its plain answer.

Reasons need the cost of thousands of orders that differ from one by a single run. They ask for them here,
so that a quicker way of placing runs can be put in; what is told in the end is costed by the account.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass
from typing import Protocol

from solver.account import placed_jobs
from solver.lock_keeping import broken_locks
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.sequence import Order, Placement
from solver.timeline import Event, State

MOST_PLACED = 250_000
"""Runs that the scheduler may be asked to place, roughly: some seconds of work."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an order comes to.

    Parameters
    ----------
    faults
        Runs left out and locks broken: they come before money.
    eur
        Weighed cost, without what chosen rolls cost besides their splices: that is the same for all orders.
    ends_ms
        By line and position of the order, when the run there ends; None where it is left out.
    """

    faults: int
    eur: float
    ends_ms: tuple[tuple[int | None, ...], ...]


class Costing(Protocol):
    """Costs orders of one problem under one goal."""

    @property
    def most_orders(self) -> int:
        """How many orders of this queue may be asked for in all."""

    def outcomes(self, orders: SequenceOf[Order]) -> list[Outcome]:
        """What each order comes to, in their order."""


class ScheduledCosting:
    """Costs orders with the scheduler, from where they first differ from one order on."""

    def __init__(self, scheduler: Scheduler, order: Order) -> None:
        self._scheduler = scheduler
        self._order = order
        self.states: list[State] = []
        """The order's states before every run, then the last; empty where runs or locks were given up."""
        state = scheduler.run(self._plans(order), keep=self.states)
        if state is None:
            raise RuntimeError("a schedule without a limit always comes out")
        if state.dropped or state.unbound:
            self.states = []

    @property
    def most_orders(self) -> int:
        runs = sum(map(len, self._order))
        return MOST_PLACED // max(1, runs)

    def outcomes(self, orders: SequenceOf[Order]) -> list[Outcome]:
        return [self._outcome(order) for order in orders]

    def _plans(self, order: Order) -> list[list[RunPlan]]:
        return [
            [self._scheduler.plan(line_idx, placement) for placement in placements]
            for line_idx, placements in enumerate(order)
        ]

    def _outcome(self, order: Order) -> Outcome:
        plans = self._plans(order)
        before = state_before(self.states, _changed(self._order, order)) if self.states else None
        state = self._scheduler.run(plans, before.snapshot() if before else None)
        if state is None:
            raise RuntimeError("a schedule without a limit always comes out")
        locks = self._scheduler.problem.locks
        faults = len(state.dropped)
        if locks:
            faults += len(broken_locks(locks, placed_jobs(self._scheduler, state)))
        return Outcome(faults, state.eur, _ends_ms(plans, state.events))


def state_before(states: SequenceOf[State], places: Iterable[tuple[int, int]]) -> State:
    """The last kept state that is untouched by changes from these places (line, position) on."""
    first = len(states) - 1
    for line_idx, position in places:
        first = min(first, bisect_left(states, position, key=_placed_on(line_idx)))
    return states[first]


def _placed_on(line_idx: int) -> Callable[[State], int]:
    return lambda state: state.next_idx[line_idx]


def _changed(order: Order, other: Order) -> list[tuple[int, int]]:
    """Where each line first differs."""
    return [
        (line_idx, _alike(placements, others))
        for line_idx, (placements, others) in enumerate(zip(order, other, strict=True))
        if placements != others
    ]


def _alike(placements: tuple[Placement, ...], others: tuple[Placement, ...]) -> int:
    pairs = zip(placements, others, strict=False)
    shorter = min(len(placements), len(others))
    return next((position for position, (one, two) in enumerate(pairs) if one != two), shorter)


def _ends_ms(plans: list[list[RunPlan]], events: Iterable[Event]) -> tuple[tuple[int | None, ...], ...]:
    ends_ms: list[dict[Placement, int]] = [{} for _ in plans]
    for event in events:
        ends_ms[event.plan.line_idx][event.plan.placement] = event.end_ms
    return tuple(
        tuple(ends.get(plan.placement) for plan in line_plans)
        for ends, line_plans in zip(ends_ms, plans, strict=True)
    )
