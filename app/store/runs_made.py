"""What actuals say of runs: which have begun on a line, and which have ended."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import Select, bindparam, select

from app.contracts.orders import LabelRange
from app.store.engine import is_sqlite
from app.store.kinds import ACTUALS
from app.store.rows import among_these, these
from app.store.store import View

_C = ACTUALS.table.c
_COLUMNS = _C.line, _C.job, _C.lot, _C.changeover_start, _C.started, _C.ended, _C.updated_at


@dataclass(frozen=True, slots=True)
class RunMade:
    """A run that has begun.

    Parameters
    ----------
    lot
        The part of the job; None for all of it, or where nobody said.
    changeover_start
        None where it was not recorded.
    ended
        None while nobody has said that it has.
    told_at
        When it was told last.
    """

    line: str
    job: str
    lot: LabelRange | None
    changeover_start: datetime | None
    started: datetime
    ended: datetime | None
    told_at: datetime


def of_jobs(view: View, jobs: Sequence[str]) -> dict[str, tuple[RunMade, ...]]:
    """Runs of jobs in the order in which they began; a job that has none is not in it."""
    values = {"plant": view.plant, "these": these(view.connection, list(jobs))}
    found: dict[str, list[RunMade]] = {}
    for row in view.connection.execute(_of_jobs(is_sqlite(view.connection)), values):
        found.setdefault(row.job, []).append(RunMade(*row))
    return {job: tuple(runs) for job, runs in found.items()}


def last_of_lines(view: View, lines: Iterable[str]) -> dict[str, RunMade]:
    """The run that began last on each line; a line of which nothing is known is not in it."""
    found: dict[str, RunMade] = {}
    for line in lines:
        row = view.connection.execute(_LAST_OF_LINE, {"plant": view.plant, "line": line}).first()
        if row is not None:
            found[line] = RunMade(*row)
    return found


_LAST_OF_LINE: Select[Any] = (
    select(*_COLUMNS)
    .where(_C.plant_pk == bindparam("plant"), _C.line == bindparam("line"))
    .order_by(_C.started.desc(), _C.id.desc())
    .limit(1)
)


@cache
def _of_jobs(sqlite: bool) -> Select[Any]:
    return (
        select(*_COLUMNS)
        .where(_C.plant_pk == bindparam("plant"), among_these(sqlite, _C.job))
        .order_by(_C.started, _C.id)
    )
