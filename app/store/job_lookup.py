"""Jobs by their numbers: in which version they are, and what they are."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, Select, bindparam, select

from app.contracts.planning_requests import JobFilter
from app.contracts.posted_jobs import JobStatus, PostedJob
from app.store.engine import is_sqlite
from app.store.kinds import JOBS
from app.store.rows import among, among_these, items_of, items_where, these
from app.store.store import View

_C = JOBS.table.c


def versions(view: View, jobs: Collection[str]) -> dict[str, int]:
    """The version of every one of these jobs that is stored."""
    values = {"plant": view.plant, "these": these(view.connection, list(jobs))}
    rows = view.connection.execute(_versions(is_sqlite(view.connection)), values)
    return {job: version for job, version in rows}


@cache
def _versions(sqlite: bool) -> Select[Any]:
    here = _C.plant_pk == bindparam("plant"), among_these(sqlite, _C.job)
    return select(_C.job, _C.version).where(*here)


def by_number(view: View, jobs: Collection[str]) -> tuple[PostedJob, ...]:
    """Those of these jobs that are stored, in the order asked for, whatever their status."""
    here = _C.plant_pk == view.plant, among(view.connection, _C.job, list(jobs))
    found = {item.job: item for _, item in items_where(view.connection, JOBS, *here)}
    return tuple(found[job] for job in dict.fromkeys(jobs) if job in found)


def statuses(view: View, jobs: Collection[str]) -> dict[str, JobStatus]:
    """The status of every one of these jobs that is stored."""
    here = _C.plant_pk == view.plant, among(view.connection, _C.job, list(jobs))
    return {job: status for job, status in view.connection.execute(select(_C.job, _C.status).where(*here))}


def open_jobs(view: View, most: int, conditions: Sequence[ColumnElement[bool]] = ()) -> tuple[PostedJob, ...]:
    """Jobs that are to run, in the order in which they came; so many at most."""
    chosen = (
        select(JOBS.table)
        .where(_C.plant_pk == view.plant, _C.status == JobStatus.OPEN, *conditions)
        .order_by(_C.pk)
        .limit(most)
    )
    rows = view.connection.execute(chosen).mappings().all()
    return tuple(item for _, item in items_of(view.connection, JOBS, rows))


def open_jobs_meant(view: View, most: int, meant: JobFilter) -> tuple[PostedJob, ...]:
    """The same of those that are meant. A job without a ready time is ready before any."""
    asked = {name: value for name, value in meant if value is not None}
    conditions = {name: JOBS.filters[name].on(JOBS.table, value) for name, value in asked.items()}
    if "ready_before" in conditions:
        conditions["ready_before"] |= _C.ready.is_(None)
    return open_jobs(view, most, tuple(conditions.values()))
