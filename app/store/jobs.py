"""What is special of jobs: they are open until they are cancelled or finished."""

from __future__ import annotations

from collections.abc import Collection
from typing import cast

from sqlalchemy import update

from app.contracts.posted_jobs import JobStatus, StatusChange, StoredJob
from app.store import records
from app.store.audit import Action
from app.store.kinds import JOBS
from app.store.rows import among
from app.store.store import View, Work


def read(view: View, job: str) -> StoredJob | None:
    """A job, or None if there is none."""
    return cast("StoredJob | None", records.read(view, JOBS, job))


def change_status(work: Work, job: str, change: StatusChange, if_version: int | None = None) -> StoredJob:
    """Cancel a job, call it finished or open it again. What is known of it stays.

    Raises
    ------
    NotStored
        If there is no such job.
    VersionConflict
        If it is of another version than is named.
    OlderRevision
        If a newer revision is stored.
    """
    cancelled = change.status is JobStatus.CANCELLED
    values = {"status": change.status, "cancel_reason": change.reason if cancelled else ""}
    changed = records.set_kept(
        work,
        JOBS,
        job,
        values,
        Action.CANCELLED if cancelled else Action.UPDATED,
        if_version=if_version,
        revision=change.revision,
    )
    return cast("StoredJob", changed)


def mark_changed(work: Work, jobs: Collection[str]) -> None:
    """Something beside jobs that they tell of is another now: who asks what has changed since is to see them.
    Their versions stay, since nothing of the jobs themselves has changed.
    """
    table = JOBS.table
    these = table.c.plant_pk == work.plant, among(work.connection, table.c.job, sorted(jobs))
    work.connection.execute(update(table).where(*these).values(updated_at=work.at))
