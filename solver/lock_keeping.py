"""Which locks an order in time keeps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together


@dataclass(frozen=True, slots=True)
class PlacedJob:
    """Where and when a job runs; `position` counts from 1 after a started run, which has 0."""

    job: str
    line: str
    position: int
    start_ms: int
    end_ms: int


def broken_locks(locks: Iterable[Lock], placed: Iterable[PlacedJob]) -> tuple[Lock, ...]:
    """The locks that are not kept. A lock on a job that was left out binds nobody."""
    by_job = {job.job: job for job in placed}
    return tuple(lock for lock in locks if not _keeps(lock, by_job))


def _keeps(lock: Lock, by_job: dict[str, PlacedJob]) -> bool:
    match lock:
        case Together():
            return _keeps_together([by_job[job] for job in lock.jobs if job in by_job])
        case Before():
            return _keeps_before(by_job.get(lock.job), by_job.get(lock.then))
        case _:
            placed = by_job.get(lock.job)
            return placed is None or _keeps_one(lock, placed)


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


def _keeps_before(first: PlacedJob | None, then: PlacedJob | None) -> bool:
    return first is None or then is None or first.end_ms <= then.start_ms
