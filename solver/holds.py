"""What a run's start waits for: the line, its ready time, stock, a tool, a lock, the line's opening."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from solver.copies import copies_free_ms
from solver.locks import Before, FixedStart, Lock
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.sequence import Order, Placement, Stock
from solver.timeline import Event, State


class Awaited(StrEnum):
    """What a start waits for."""

    LINE = "line"
    READY = "ready"
    STOCK = "stock"
    TOOL = "tool"
    LOCK = "lock"
    OPENING = "opening"
    STARTED = "started"


@dataclass(frozen=True, slots=True)
class Hold:
    """Why a run does not start earlier where it stands.

    Parameters
    ----------
    until_ms
        Until when it holds the start; 0 with no job: the plan begins then.
    job
        The job whose run has the line or the tool until then, or must end first; None where no run has.
    tool
        The die or cylinder that is awaited.
    stock
        The stock that arrives then.
    lock
        The lock that says so.
    """

    awaited: Awaited
    until_ms: int
    job: str | None = None
    tool: str | None = None
    stock: Stock | None = None
    lock: Lock | None = None


def holds(scheduler: Scheduler, order: Order) -> dict[tuple[int, Placement], Hold]:
    """What every run of an order waits for, by line and placement; runs left out have none."""
    plans = [
        [scheduler.plan(line_idx, placement) for placement in placements]
        for line_idx, placements in enumerate(order)
    ]
    states: list[State] = []
    last = scheduler.run(plans, keep=states)
    if last is None:
        raise RuntimeError("a schedule without a limit always comes out")
    begun = len(last.events) - (len(states) - 1)
    found: dict[tuple[int, Placement], Hold] = {}
    for event_idx, event in enumerate(last.events):
        key = (event.plan.line_idx, event.plan.placement)
        if event_idx < begun:
            found[key] = Hold(Awaited.STARTED, event.start_ms)
        else:
            found[key] = _hold(scheduler, states[event_idx - begun], event)
    return found


def _hold(scheduler: Scheduler, state: State, event: Event) -> Hold:
    """The last of what an event's start waits for; the line itself where that is as late."""
    line = scheduler.problem.plant.lines[event.plan.line_idx]
    hold = max(_known(scheduler, state, event.plan), key=lambda one: one.until_ms)
    stock = _late_stock(scheduler, state, event)
    if stock is not None and event.start_ms > line.calendar.next_open(hold.until_ms):
        hold = stock
    if event.start_ms == hold.until_ms:
        return hold
    if event.start_ms == line.calendar.next_open(hold.until_ms):
        return Hold(Awaited.OPENING, event.start_ms)
    # Stock sufficed once the job before was run out or the line cold: the changeover then wastes other web.
    return Hold(Awaited.STOCK, event.start_ms, stock=event.plan.stock)


def _known(scheduler: Scheduler, state: State, plan: RunPlan) -> Iterator[Hold]:
    """What can be told before the run is placed, the line first."""
    line_state = state.lines[plan.line_idx]
    before = line_state.before
    yield Hold(Awaited.LINE, line_state.end_ms, before.job.id if before else None)
    yield Hold(Awaited.READY, plan.job.ready_ms)
    yield from _tool_holds(state, plan)
    job_id = plan.job.id
    for lock in scheduler.problem.locks:
        if isinstance(lock, FixedStart) and lock.job == job_id:
            yield Hold(Awaited.LOCK, lock.start_ms, lock=lock)
        if isinstance(lock, Before) and lock.then == job_id and plan.placement.job_idx not in state.unbound:
            ends_ms = [event.end_ms for event in state.events if event.plan.job.id == lock.job]
            if ends_ms:
                yield Hold(Awaited.LOCK, max(ends_ms), lock.job, lock=lock)


def _tool_holds(state: State, plan: RunPlan) -> Iterator[Hold]:
    """When the copies of dies and cylinders it takes are free, and whose run has the last of them."""
    if not plan.tools or not copies_free_ms(state.copies, plan):
        return
    free_ms = copies_free_ms(state.copies, plan)
    for key in plan.tool_places:
        if any(copy.free_ms == free_ms for copy in state.copies[key]):
            users = (
                event.plan.job.id
                for event in reversed(state.events)
                if event.end_ms == free_ms and key in event.plan.tool_places
            )
            yield Hold(Awaited.TOOL, free_ms, next(users, None), tool=key)
            return


def _late_stock(scheduler: Scheduler, state: State, event: Event) -> Hold | None:
    """The delivery without which the run's need of a stock was not met."""
    followed = scheduler.problem.followed_stocks
    found: Hold | None = None
    for stock, length_um in event.drawn:
        stocked = followed[stock]
        left_um = (stocked.on_hand_um or 0) - state.drawn[stock]
        for delivery in sorted(stocked.deliveries, key=lambda one: one.at_ms):
            if delivery.at_ms > event.start_ms or left_um >= length_um:
                break
            left_um += delivery.length_um
            if left_um >= length_um and (found is None or delivery.at_ms > found.until_ms):
                found = Hold(Awaited.STOCK, delivery.at_ms, stock=stock)
    return found
