"""Lots: the parts of a split job, each with a run of its own.

A lot is an interval of the job's labels, its versions' targets laid end to end in order. The lots of a
job hold each label once, so all of them together never ask for more than the whole job does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import accumulate, pairwise

from solver.jobs import Job
from solver.layout import version_target
from solver.locks import AtPosition, FixedStart, Lock, Started, Together
from solver.plant import Die
from solver.problem import Problem, lock_jobs
from solver.sequence import MOST_LOTS, Lot, Order, Placement

MOST_CUTS = 5
"""Cuts a search may try of a job."""

_SHARES = ((1, 2), (1, 3), (2, 3))


def version_targets(problem: Problem, job_idx: int) -> tuple[int, ...]:
    """Labels to be made of every version of a job, with overs, full reels and maximum."""
    job = problem.jobs[job_idx]
    die = problem.dies[job.die]
    return tuple(version_target(job, version, die)[0] for version in job.versions)


def total_labels(problem: Problem, job_idx: int) -> int:
    """Labels of a whole job."""
    return sum(version_targets(problem, job_idx))


def lot_parts(problem: Problem, job_idx: int, lot: Lot) -> tuple[int, ...]:
    """Labels of every version that a lot holds; 0 where it holds none of a version."""
    ends = tuple(accumulate(version_targets(problem, job_idx), initial=0))
    return tuple(max(0, min(end, lot.last) - max(start, lot.first)) for start, end in pairwise(ends))


def lot_step(job: Job, die: Die) -> int:
    """Labels that a cut wastes nothing between: a full reel in every lane where the customer takes only
    full reels, else a repeat.
    """
    if job.full_reels and job.labels_per_reel:
        return job.labels_per_reel * die.across
    return die.across * die.around


def whole_by_lock(problem: Problem, job_idx: int) -> Lock | None:
    """A lock that a job cannot be split under: one on its start, its place or its neighbours."""
    job_id = problem.jobs[job_idx].id
    for lock in problem.locks:
        if isinstance(lock, Started | FixedStart | AtPosition | Together) and job_id in lock_jobs(lock):
            return lock
    return None


def may_split(problem: Problem, job_idx: int) -> bool:
    """Whether a job may be split into lots at all."""
    least_lot = problem.jobs[job_idx].least_lot
    if least_lot is None or whole_by_lock(problem, job_idx) is not None:
        return False
    return total_labels(problem, job_idx) >= 2 * least_lot


def lot_faults(problem: Problem, job_idx: int, lots: Iterable[Lot]) -> tuple[str, ...]:
    """What is wrong with a job's lots; empty where they part it as it may be parted.

    They must hold every label once, each at least the job's least lot of them.
    """
    job = problem.jobs[job_idx]
    ordered = sorted(lots)
    if job.least_lot is None:
        return ("is never split: it has no least lot",)
    lock = whole_by_lock(problem, job_idx)
    if lock is not None:
        return (f"cannot be split under the lock “{lock}”",)
    total = total_labels(problem, job_idx)
    return (*_count_faults(ordered), *_size_faults(job.least_lot, ordered), *_cover_faults(total, ordered))


def _count_faults(ordered: list[Lot]) -> Iterator[str]:
    if len(ordered) < 2:
        yield "has one lot, which should be at least two, or the whole job without a lot"
    if len(ordered) > MOST_LOTS:
        yield f"has {len(ordered)} lots, more than {MOST_LOTS}"


def _size_faults(least_lot: int, ordered: list[Lot]) -> Iterator[str]:
    for lot in ordered:
        if lot.labels < least_lot:
            yield f"has a lot of {lot}, {lot.labels} of them, less than its least lot of {least_lot}"


def _cover_faults(total: int, ordered: list[Lot]) -> Iterator[str]:
    reached = 0
    for lot in ordered:
        if lot.first > reached:
            yield f"has no lot with {Lot(reached, lot.first)}"
        if lot.first < reached:
            yield f"has {Lot(lot.first, min(reached, lot.last))} in two lots"
        reached = max(reached, lot.last)
    if reached < total:
        yield f"has no lot with {Lot(reached, total)}"
    if reached > total:
        yield f"has a lot up to label {reached}, but {total} labels to make"


def gaps(total: int, lots: Iterable[Lot]) -> tuple[Lot, ...]:
    """The labels that none of a job's lots hold."""
    missing: list[Lot] = []
    reached = 0
    for lot in sorted(lots):
        if lot.first > reached:
            missing.append(Lot(reached, lot.first))
        reached = max(reached, lot.last)
    if reached < total:
        missing.append(Lot(reached, total))
    return tuple(missing)


def cuts(problem: Problem, job_idx: int, most: int = MOST_CUTS) -> tuple[int, ...]:
    """Where a job is worth being cut in two: at its half, its thirds, and between its versions.

    Every cut stands on a step of its version (`lot_step`) or between two versions and leaves at least the
    least lot on either side. Nearest the middle come first; none where the job may not be split.
    """
    if not may_split(problem, job_idx):
        return ()
    job = problem.jobs[job_idx]
    step = lot_step(job, problem.dies[job.die])
    ends = tuple(accumulate(version_targets(problem, job_idx), initial=0))
    total, least = ends[-1], job.least_lot or 1
    wished = [_on_step(ends, total * share // whole, step) for share, whole in _SHARES]
    allowed = {cut for cut in (*wished, *ends) if least <= cut <= total - least}
    return tuple(sorted(allowed, key=lambda cut: (abs(2 * cut - total), cut))[:most])


def _on_step(ends: tuple[int, ...], cut: int, step: int) -> int:
    """The nearest step of the version that a cut falls into, at most that version's end."""
    start, end = next((start, end) for start, end in pairwise(ends) if cut < end or end == ends[-1])
    return min(end, start + (2 * (cut - start) + step) // (2 * step) * step)


def fitted(problem: Problem, order: Order) -> Order:
    """An order with the lots of every job fitted to the labels it has.

    Where a job has other numbers of labels than when it was split, its cuts keep their shares; the order's
    last lot of it counts as the job's end. Where even so its lots cannot be kept, the whole job runs where
    its first lot stood.
    """
    lots: dict[int, list[Lot]] = {}
    for placements in order:
        for placed in placements:
            if placed.lot is not None:
                lots.setdefault(placed.job_idx, []).append(placed.lot)
    kept = {job_idx: _fitted_lots(problem, job_idx, parts) for job_idx, parts in lots.items()}
    return tuple(
        tuple(again for placed in placements if (again := _fitted_placement(placed, kept)) is not None)
        for placements in order
    )


def _fitted_lots(problem: Problem, job_idx: int, lots: list[Lot]) -> dict[Lot, Lot | None]:
    """What becomes of a job's lots; the first becomes None where the job can only be whole."""
    total = total_labels(problem, job_idx)
    had = max(lot.last for lot in lots)
    shares = {
        lot: Lot(lot.first * total // had, total if lot.last == had else lot.last * total // had)
        for lot in lots
    }
    parts = shares.values()
    if not lot_faults(problem, job_idx, (*parts, *gaps(total, parts))):
        return dict(shares)
    return {min(lots): None}


def _fitted_placement(placed: Placement, kept: dict[int, dict[Lot, Lot | None]]) -> Placement | None:
    if placed.lot is None:
        return placed
    of_job = kept[placed.job_idx]
    return replace(placed, lot=of_job[placed.lot]) if placed.lot in of_job else None
