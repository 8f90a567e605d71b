"""Where jobs are planned and where they run."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from typing import Any

from sqlalchemy import Select, bindparam, select

from app.contracts.posted_jobs import PlannedRun
from app.store.engine import is_sqlite
from app.store.kinds import ACTUALS
from app.store.rows import among_these, these
from app.store.sequences import RUNS, SEQUENCES
from app.store.store import View

_ACTUALS, _SEQUENCES = ACTUALS.table.c, SEQUENCES.table.c


def planned(view: View, jobs: Sequence[str]) -> dict[str, tuple[PlannedRun, ...]]:
    """Runs of jobs in kept sequences, the latest sequence first; a job that has none is not in it."""
    names = ("sequence", "line", "position", "print_start", "end")
    found: dict[str, list[PlannedRun]] = defaultdict(list)
    for job, *values in _asked(view, _planned, jobs):
        found[job].append(PlannedRun(**dict(zip(names, values, strict=True))))
    return {job: tuple(runs) for job, runs in found.items()}


def running(view: View, jobs: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Lines on which jobs have begun and not ended; a job that runs nowhere is not in it."""
    found: dict[str, list[str]] = defaultdict(list)
    for job, line in _asked(view, _running, jobs):
        found[job].append(line)
    return {job: tuple(lines) for job, lines in found.items()}


def _asked(view: View, statement: Callable[[bool], Select[Any]], jobs: Sequence[str]) -> Iterable[Any]:
    connection = view.connection
    values = {"plant": view.plant, "these": these(connection, list(jobs))}
    return connection.execute(statement(is_sqlite(connection)), values)


@cache
def _planned(sqlite: bool) -> Select[Any]:
    columns = _SEQUENCES.id, RUNS.c.line, RUNS.c.position, RUNS.c.print_start, RUNS.c.end
    return (
        select(RUNS.c.job, *columns)
        .join(SEQUENCES.table, _SEQUENCES.pk == RUNS.c.sequence_pk)
        .where(RUNS.c.plant_pk == bindparam("plant"), among_these(sqlite, RUNS.c.job))
        .order_by(_SEQUENCES.pk.desc(), RUNS.c.print_start, RUNS.c.line, RUNS.c.position)
    )


@cache
def _running(sqlite: bool) -> Select[Any]:
    return (
        select(_ACTUALS.job, _ACTUALS.line)
        .where(
            _ACTUALS.plant_pk == bindparam("plant"),
            among_these(sqlite, _ACTUALS.job),
            _ACTUALS.ended.is_(None),
        )
        .distinct()
        .order_by(_ACTUALS.job, _ACTUALS.line)
    )
