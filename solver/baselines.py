"""Orders a shop would run without a search: as entered, by due time, and as the sequence in force has it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from solver.feasibility import first_placement, stations_fit
from solver.locks import Started
from solver.lots import fitted, gaps, total_labels
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import Lot, Order, Placement
from solver.timeline import Event
from solver.weights import Weights

_NEVER_MS = 1 << 62


def baselines(problem: Problem, scheduler: Scheduler | None = None) -> dict[str, Order]:
    """All of them by name, that of the sequence in force if there is one."""
    found = {"as entered": as_entered(problem, scheduler), "by due time": by_due_time(problem, scheduler)}
    in_force = as_in_force(problem, scheduler)
    return found if in_force is None else found | {"in force": in_force}


def as_entered(problem: Problem, scheduler: Scheduler | None = None) -> Order:
    """Jobs in the order they were entered, each appended to the line that ends first.

    A scheduler with plain weights that was used before knows plans and changeovers already.
    """
    return appended(problem, range(len(problem.jobs)), scheduler)


def by_due_time(problem: Problem, scheduler: Scheduler | None = None) -> Order:
    """Jobs by due time, those without one last, each appended to the line that ends first."""
    return appended(problem, _by_due_time(problem), scheduler)


def as_in_force(problem: Problem, scheduler: Scheduler | None = None) -> Order | None:
    """The sequence in force as far as it can still be run; what it does not have is appended by due time,
    each job to the line that ends first. None where no sequence is in force.

    A job goes to the first feasible stations where those in force can no longer be had, and runs whole where
    its first lot stood if lots of it are missing. Its lots are fitted to the labels that it has now.
    """
    if problem.in_force is None:
        return None
    kept = fitted(
        problem, tuple(tuple(_kept(problem, line_idx)) for line_idx in range(len(problem.plant.lines)))
    )
    return appended(problem, _by_due_time(problem), scheduler, _whole_without_gaps(problem, kept))


def _kept(problem: Problem, line_idx: int) -> Iterator[Placement]:
    """A line's runs in force that it can still run, but for what has started."""
    in_force = problem.in_force.lines[line_idx] if problem.in_force else ()
    started = {lock.job for lock in problem.locks if isinstance(lock, Started)}
    for run in in_force:
        if run.job not in problem.job_idx or run.job in started:
            continue
        job_idx = problem.job_idx[run.job]
        placement = first_placement(problem, line_idx, job_idx)
        if placement is None:
            continue
        if run.stations is not None and stations_fit(problem, line_idx, job_idx, run.stations):
            placement = Placement(job_idx, run.stations)
        yield replace(placement, lot=run.lot)


def _whole_without_gaps(problem: Problem, order: Order) -> Order:
    """The order with every job whole, where its first lot stood, of which it does not have all labels."""
    lots: dict[int, list[Lot]] = {}
    for placement in (placement for placements in order for placement in placements):
        if placement.lot is not None:
            lots.setdefault(placement.job_idx, []).append(placement.lot)
    first = {
        job_idx: min(of_job)
        for job_idx, of_job in lots.items()
        if len(of_job) < 2 or gaps(total_labels(problem, job_idx), of_job)
    }
    return tuple(
        tuple(
            replace(placement, lot=None) if placement.job_idx in first else placement
            for placement in placements
            if placement.job_idx not in first or placement.lot == first[placement.job_idx]
        )
        for placements in order
    )


def _by_due_time(problem: Problem) -> list[int]:
    due_ms = [_NEVER_MS if job.due_ms is None else job.due_ms for job in problem.jobs]
    return sorted(range(len(problem.jobs)), key=lambda job_idx: due_ms[job_idx])


def appended(
    problem: Problem, job_idxs: Iterable[int], scheduler: Scheduler | None = None, behind: Order | None = None
) -> Order:
    """Append each job to the line that ends first among those that can run it, ties by line order.

    Layers go to the first feasible stations in web order. Started runs come first, then those of an order
    `behind` which they are appended; a job that no line can run is not placed.
    """
    scheduler = scheduler or Scheduler(problem, Weights())
    order = started_order(problem)
    for on_line, runs in zip(order, behind or (), strict=False):
        on_line.extend(runs)
    placed = {placement.job_idx for placements in order for placement in placements}
    plans = [
        [scheduler.plan(line_idx, placement) for placement in placements]
        for line_idx, placements in enumerate(order)
    ]
    state = scheduler.begin(plans) if behind is None else scheduler.run(plans)
    if state is None:
        raise RuntimeError("a schedule without a limit always comes out")
    for job_idx in job_idxs:
        if job_idx in placed:
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
