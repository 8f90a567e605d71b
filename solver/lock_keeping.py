"""Which locks an order in time keeps."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import pairwise

from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together


@dataclass(frozen=True, slots=True)
class PlacedJob:
    """Where and when a job, or a lot of it, runs.

    `position` counts from 1 after a started run, which has 0.
    """

    job: str
    line: str
    position: int
    start_ms: int
    end_ms: int


def broken_locks(locks: Iterable[Lock], placed: Iterable[PlacedJob]) -> tuple[Lock, ...]:
    """The locks that are not kept. A lock on a job that was left out binds nobody; one on a split job
    binds all lots of it that are placed.
    """
    by_job: dict[str, list[PlacedJob]] = {}
    for job in placed:
        by_job.setdefault(job.job, []).append(job)
    return tuple(lock for lock in locks if not _keeps(lock, by_job))


def _keeps(lock: Lock, by_job: dict[str, list[PlacedJob]]) -> bool:
    match lock:
        case Together():
            return _keeps_together([placed for job in lock.jobs for placed in by_job.get(job, ())])
        case Before():
            return _keeps_before(by_job.get(lock.job, ()), by_job.get(lock.then, ()))
        case _:
            return all(_keeps_one(lock, placed) for placed in by_job.get(lock.job, ()))


def _keeps_one(lock: Started | FixedStart | OnLine | AtPosition, placed: PlacedJob) -> bool:
    match lock:
        case Started():
            return placed.line == lock.line and placed.position == 0
        case FixedStart():
            return placed.start_ms == lock.start_ms
        case OnLine():
            return placed.line == lock.line
        case AtPosition():
            return placed.position == lock.position


def _keeps_together(placed: list[PlacedJob]) -> bool:
    positions = sorted(job.position for job in placed)
    one_line = len({job.line for job in placed}) <= 1
    return one_line and all(after == before + 1 for before, after in pairwise(positions))


def _keeps_before(first: Collection[PlacedJob], then: Collection[PlacedJob]) -> bool:
    """All lots of the first end before any of the second starts."""
    if not first or not then:
        return True
    return max(placed.end_ms for placed in first) <= min(placed.start_ms for placed in then)
