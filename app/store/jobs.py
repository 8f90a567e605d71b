"""What is special of jobs: they are open until they are cancelled or finished."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from app.contracts.posted_jobs import Cancellation, JobStatus, PostedJob, StoredJob
from app.store import records
from app.store.audit import Action
from app.store.kinds import JOBS
from app.store.rows import among, items_where
from app.store.store import View, Work

_C = JOBS.table.c


def read(view: View, job: str) -> StoredJob | None:
    """A job, or None if there is none."""
    return cast("StoredJob | None", records.read(view, JOBS, job))


def cancel(work: Work, job: str, why: Cancellation, if_version: int | None = None) -> StoredJob:
    """A job that is not to run. What is known of it stays.

    Raises
    ------
    NotStored
        If there is no such job.
    VersionConflict
        If it is of another version than is named.
    OlderRevision
        If a newer revision is stored.
    """
    values = {"status": JobStatus.CANCELLED, "cancel_reason": why.reason}
    changed = records.set_kept(
        work, JOBS, job, values, Action.CANCELLED, if_version=if_version, revision=why.revision
    )
    return cast("StoredJob", changed)


def set_status(work: Work, job: str, status: JobStatus) -> StoredJob:
    """Say that a job is finished, or open again.

    Raises
    ------
    NotStored
        If there is no such job.
    """
    return cast("StoredJob", records.set_kept(work, JOBS, job, {"status": status, "cancel_reason": ""}))


def open_jobs(view: View, jobs: Sequence[str] | None = None) -> list[PostedJob]:
    """Jobs that are to run, in the order in which they came; of those named, if any are."""
    conditions = [_C.plant_pk == view.plant, _C.status == JobStatus.OPEN]
    if jobs is not None:
        conditions.append(among(view.connection, _C.job, jobs))
    return [item for _, item in items_where(view.connection, JOBS, *conditions)]
