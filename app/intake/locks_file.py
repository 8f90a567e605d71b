"""Locks from a JSON file."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise
from pathlib import Path

from app.contracts.base import at_site
from app.contracts.jobs import Job
from app.contracts.known_names import unknown
from app.contracts.locks import LOCK_KINDS, LineLock, Lock, LockList, StartedLock, TogetherLock, jobs_of
from app.contracts.plant import Plant
from app.errors import Fault
from app.intake.findings import Findings
from app.intake.json_text import read_contract


def read_locks(path: Path, plant: Plant | None, jobs: Sequence[Job], findings: Findings) -> tuple[Lock, ...]:
    """The locks of a file, none with all that is wrong with it.

    Whether they can all be kept is not looked at; names are, where plant and jobs are known.
    """
    listed = read_contract(path, LockList, findings, LOCK_KINDS)
    if listed is None:
        return ()
    if plant is not None and jobs:
        known_jobs = {job.job for job in jobs}
        for idx, lock in enumerate(listed.locks):
            findings.faults += lock_faults(f"locks[{idx}]", lock, plant, known_jobs, str(path))
    return listed.locks


def lock_faults(
    place: str, lock: Lock, plant: Plant, jobs: Collection[str], file: str | None = None
) -> Iterator[Fault]:
    """What is wrong with a lock on some jobs of a plant: names that nobody knows, times that cannot be."""
    for field, job in jobs_of(lock):
        if job not in jobs:
            yield Fault(unknown("job", job, jobs), file=file, field=f"{place}.{field}", value=job)
    if isinstance(lock, TogetherLock):
        for idx, job in enumerate(lock.jobs):
            if job in lock.jobs[:idx]:
                yield Fault("should be there once only", file=file, field=f"{place}.jobs[{idx}]", value=job)
    if isinstance(lock, LineLock | StartedLock):
        lines = {line.id for line in plant.lines}
        if lock.line not in lines:
            field = f"{place}.line"
            yield Fault(unknown("line", lock.line, lines), file=file, field=field, value=lock.line)
    if isinstance(lock, StartedLock):
        yield from _moment_faults(place, lock, plant, file)


def _moment_faults(place: str, lock: StartedLock, plant: Plant, file: str | None) -> Iterator[Fault]:
    zone = plant.site.zone_info
    moments = {"changeover_start": lock.changeover_start, "print_start": lock.print_start, "end": lock.end}
    for before, name in pairwise(moments):
        if at_site(moments[name], zone) < at_site(moments[before], zone):
            yield Fault(
                f"should not be earlier than {before}",
                file=file,
                field=f"{place}.{name}",
                value=moments[name].isoformat(),
            )
