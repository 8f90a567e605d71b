"""Orders a shop would run without a search: as entered, and by due time."""

from __future__ import annotations

from collections.abc import Iterable

from solver.feasibility import first_placement
from solver.locks import Started
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import Order, Placement
from solver.timeline import Event
from solver.weights import Weights

_NEVER_MS = 1 << 62


def as_entered(problem: Problem, scheduler: Scheduler | None = None) -> Order:
    """Jobs in the order they were entered, each appended to the line that ends first.

    A scheduler with plain weights that was used before knows plans and changeovers already.
    """
    return appended(problem, range(len(problem.jobs)), scheduler)


def by_due_time(problem: Problem, scheduler: Scheduler | None = None) -> Order:
    """Jobs by due time, those without one last, each appended to the line that ends first."""
    due_ms = [_NEVER_MS if job.due_ms is None else job.due_ms for job in problem.jobs]
    jobs = sorted(range(len(problem.jobs)), key=lambda job_idx: due_ms[job_idx])
    return appended(problem, jobs, scheduler)


def appended(problem: Problem, job_idxs: Iterable[int], scheduler: Scheduler | None = None) -> Order:
    """Append each job to the line that ends first among those that can run it, ties by line order.

    Layers go to the first feasible stations in web order. Started runs come first; a job that no
    line can run is not placed.
    """
    scheduler = scheduler or Scheduler(problem, Weights())
    order = started_order(problem)
    started = {placement.job_idx for placements in order for placement in placements}
    state = scheduler.begin(
        [
            [scheduler.plan(line_idx, placement) for placement in placements]
            for line_idx, placements in enumerate(order)
        ]
    )
    for job_idx in job_idxs:
        if job_idx in started:
            continue
        placements = [
            (line_idx, placement)
            for line_idx in range(len(order))
            if (placement := first_placement(problem, line_idx, job_idx)) is not None
        ]
        if placements:
            line_idx, placement = min(placements, key=lambda item: (state.lines[item[0]].end_ms, item[0]))
            order[line_idx].append(placement)
            step = scheduler.next_step(state, scheduler.plan(line_idx, placement))
            if isinstance(step, Event):
                scheduler.place(state, step)
    return tuple(tuple(placements) for placements in order)


def started_order(problem: Problem) -> list[list[Placement]]:
    """Every line with the run that had started on it, if any."""
    order: list[list[Placement]] = [[] for _ in problem.plant.lines]
    for lock in problem.locks:
        if isinstance(lock, Started):
            placement = started_placement(problem, lock)
            if placement is not None:
                order[problem.line_idx[lock.line]].insert(0, placement)
    return order


def started_placement(problem: Problem, lock: Started) -> Placement | None:
    """Where a started run stands: at the stations it names, else the first feasible ones."""
    line_idx, job_idx = problem.line_idx[lock.line], problem.job_idx[lock.job]
    if lock.stations is None:
        return first_placement(problem, line_idx, job_idx)
    idx = {station.id: idx for idx, station in enumerate(problem.plant.lines[line_idx].stations)}
    if not set(lock.stations) <= set(idx):
        return None
    return Placement(job_idx, tuple(idx[station] for station in lock.stations))
