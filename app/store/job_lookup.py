"""Jobs by their numbers: in which version they are, and what they are."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from typing import Any

from sqlalchemy import Select, bindparam, select

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


def open_jobs(view: View, most: int) -> tuple[PostedJob, ...]:
    """Jobs that are to run, in the order in which they came; so many at most."""
    chosen = (
        select(JOBS.table)
        .where(_C.plant_pk == view.plant, _C.status == JobStatus.OPEN)
        .order_by(_C.pk)
        .limit(most)
    )
    rows = view.connection.execute(chosen).mappings().all()
    return tuple(item for _, item in items_of(view.connection, JOBS, rows))
