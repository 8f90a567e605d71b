"""Where jobs are planned and where they run."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from sqlalchemy import select

from app.contracts.posted_jobs import PlannedRun
from app.store.kinds import ACTUALS
from app.store.rows import among
from app.store.sequences import RUNS, SEQUENCES
from app.store.store import View

_ACTUALS, _SEQUENCES = ACTUALS.table.c, SEQUENCES.table.c


def planned(view: View, jobs: Sequence[str]) -> dict[str, tuple[PlannedRun, ...]]:
    """Runs of jobs in kept sequences, the latest sequence first; a job that has none is not in it."""
    columns = _SEQUENCES.id, RUNS.c.line, RUNS.c.position, RUNS.c.print_start, RUNS.c.end
    chosen = (
        select(RUNS.c.job, *columns)
        .join(SEQUENCES.table, _SEQUENCES.pk == RUNS.c.sequence_pk)
        .where(RUNS.c.plant_pk == view.plant, among(view.connection, RUNS.c.job, list(jobs)))
        .order_by(_SEQUENCES.pk.desc(), RUNS.c.print_start, RUNS.c.line, RUNS.c.position)
    )
    names = ("sequence", "line", "position", "print_start", "end")
    found: dict[str, list[PlannedRun]] = defaultdict(list)
    for job, *values in view.connection.execute(chosen):
        found[job].append(PlannedRun(**dict(zip(names, values, strict=True))))
    return {job: tuple(runs) for job, runs in found.items()}


def running(view: View, jobs: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Lines on which jobs have begun and not ended; a job that runs nowhere is not in it."""
    chosen = (
        select(_ACTUALS.job, _ACTUALS.line)
        .where(
            _ACTUALS.plant_pk == view.plant,
            among(view.connection, _ACTUALS.job, list(jobs)),
            _ACTUALS.ended.is_(None),
        )
        .distinct()
        .order_by(_ACTUALS.job, _ACTUALS.line)
    )
    found: dict[str, list[str]] = defaultdict(list)
    for job, line in view.connection.execute(chosen):
        found[job].append(line)
    return {job: tuple(lines) for job, lines in found.items()}
