"""What is expected to be late by what has really run: a plain projection, no plan.

A line is as late as the last of its released runs of which anything is known: one that has ended by when it
did, one that has begun by when that was. All runs behind it, and that one while it runs, are moved by so
much as they stand: nothing is made up on closures, nothing waits for what comes ready or is delivered later.
A line that is early moves nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import timedelta
from decimal import Decimal

from app.contracts.messages import JobAtRisk
from app.contracts.posted_jobs import JobStatus
from app.contracts.releases import ReleasedRun
from app.store import job_lookup, releases, runs_made
from app.store.runs_made import RunMade
from app.store.store import View

Placed = tuple[str, ReleasedRun]
"""A job and a run of it on a line."""

Made = Mapping[str, Sequence[RunMade]]
"""Runs of jobs in the order in which they began."""


def expected_late(view: View, lines: Collection[str]) -> dict[tuple[str, str], JobAtRisk]:
    """Open jobs, by line and job, that are expected to end after their press due on one of these lines."""
    released = {line: runs for line, runs in releases.of_lines(view).items() if line in lines}
    made = runs_made.of_jobs(view, sorted({job for runs in released.values() for job, _ in runs}))
    late = {
        (line, told.job): told
        for line, runs in released.items()
        for told in late_on_line(runs, {job: _on(line, made.get(job, ())) for job, _ in runs})
    }
    statuses = job_lookup.statuses(view, sorted({job for _, job in late}))
    return {key: told for key, told in late.items() if statuses.get(key[1]) is JobStatus.OPEN}


def late_on_line(released: Sequence[Placed], made: Made) -> list[JobAtRisk]:
    """Jobs of a line that are expected to end after their press due, as they follow each other.

    Parameters
    ----------
    released
        The line's runs in their order.
    made
        What has really run there.
    """
    last, delay = -1, timedelta(0)
    for idx, (job, run) in enumerate(released):
        real = _made_as(run, made.get(job, ()))
        if real is not None:
            last = idx
            delay = real.started - run.print_start if real.ended is None else real.ended - run.end
    delay = max(delay, timedelta(0))
    left = [
        (job, run)
        for idx, (job, run) in enumerate(released)
        if idx >= last and not _has_ended(run, made.get(job, ()))
    ]
    return [told for job, run in left if (told := _late(job, run, delay)) is not None]


def _late(job: str, run: ReleasedRun, delay: timedelta) -> JobAtRisk | None:
    if run.press_due is None or run.end + delay <= run.press_due:
        return None
    return JobAtRisk(
        job=job,
        late=True,
        line=run.line,
        lot=run.lot,
        changeover_start=run.changeover_start + delay,
        print_start=run.print_start + delay,
        end=run.end + delay,
        press_due=run.press_due,
        late_min=_minutes(run.end + delay - run.press_due),
        delay_min=_minutes(delay),
    )


def _minutes(span: timedelta) -> Decimal:
    return round(Decimal(span // timedelta(microseconds=1)) / 60_000_000, 3)


def _on(line: str, runs: Sequence[RunMade]) -> list[RunMade]:
    return [run for run in runs if run.line == line]


def _made_as(run: ReleasedRun, made: Sequence[RunMade]) -> RunMade | None:
    """What became of a released run, if anything is known: the last that is of its lot, or of which nobody
    said what it is of.
    """
    return next((real for real in reversed(made) if real.lot in (run.lot, None)), None)


def _has_ended(run: ReleasedRun, made: Sequence[RunMade]) -> bool:
    real = _made_as(run, made)
    return real is not None and real.ended is not None
