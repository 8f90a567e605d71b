"""Split jobs: whether their lots part them rightly, and what each lot holds of every version."""

from __future__ import annotations

from solver.jobs import Job
from solver.locks import Before, Lock, OnLine, Together
from solver.problem import Problem
from solver.sequence import Lot, Sequence
from tests.checker.quantities import version_target

MOST_LOTS = 3

Key = tuple[str, Lot | None]
"""What names a run: its job, and its lot where the job is split."""


def labels_by_version(problem: Problem, job: Job, lot: Lot | None) -> tuple[int, ...]:
    """Labels of every version in a run; all of its target where the job is whole."""
    held = []
    start = 0
    for version in job.versions:
        target, _ = version_target(job, version, problem.dies[job.die])
        end = start + target
        held.append(target if lot is None else len(range(max(start, lot.first), min(end, lot.last))))
        start = end
    return tuple(held)


def split_complaints(problem: Problem, sequence: Sequence) -> list[str]:
    """Every job is there once, whole or in its lots, which hold every label once."""
    complaints = []
    for job in problem.jobs:
        placed = [run.placement.lot for run in sequence.runs if run.job == job.id]
        left_out = [left.lot for left in sequence.left_out if left.job == job.id]
        parts = placed + left_out
        lots = [lot for lot in parts if isinstance(lot, Lot)]
        if not lots:
            if len(parts) != 1 or parts[0] is not None:
                complaints.append(f"job {job.id}: is {len(parts)} times in the sequence, should be once")
        elif len(lots) != len(parts):
            complaints.append(f"job {job.id}: is there whole and in lots")
        elif not placed:
            complaints.append(f"job {job.id}: no lot of it runs, so the whole job should be left out")
        else:
            complaints += _lots_complaints(problem, job, lots)
    return complaints


def _lots_complaints(problem: Problem, job: Job, lots: list[Lot]) -> list[str]:
    where = f"job {job.id}"
    if job.least_lot is None:
        return [f"{where}: is split, which it may not be"]
    complaints = [
        f"{where}: lot {lot} is smaller than its least lot" for lot in lots if _size(lot) < job.least_lot
    ]
    complaints += [
        f"{where}: is split under the lock “{lock}”" for lock in problem.locks if _keeps_whole(lock, job)
    ]
    if not 1 < len(lots) <= MOST_LOTS:
        complaints.append(f"{where}: is in {len(lots)} lots")
    reached = 0
    for lot in sorted(lots, key=lambda lot: (lot.first, lot.last)):
        if lot.first != reached:
            complaints.append(f"{where}: a lot begins at label {lot.first}, should begin at {reached}")
        reached = lot.last
    total = sum(labels_by_version(problem, job, None))
    if reached != total:
        complaints.append(f"{where}: its lots end at label {reached}, should end at {total}")
    return complaints


def _size(lot: Lot) -> int:
    return lot.last - lot.first


def _keeps_whole(lock: Lock, job: Job) -> bool:
    """Whether a lock on start, place or neighbours keeps a job from being split."""
    if isinstance(lock, Before | OnLine):
        return False
    return job.id in (lock.jobs if isinstance(lock, Together) else (lock.job,))
