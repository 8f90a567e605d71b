"""What a line does when, as blocks of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from app.contracts.sequences import Interruption, LineRuns, Run
from app.drawings.labels import day_and_clock


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of a line's time; moments carry an offset."""

    kind: str
    begins: datetime
    ends: datetime
    title: str
    number: int
    """Of the run it belongs to, from 1."""
    job: str


def line_blocks(line: LineRuns, plan_start: datetime) -> tuple[Block, ...]:
    """A line's blocks in order from the plan's start: waits, changeovers, runs, closures, cleaning.

    Closures are known where a changeover or a run goes through one; others lie inside the waits.
    """
    blocks: list[Block] = []
    free_from = plan_start
    for number, run in enumerate(line.runs, start=1):
        if run.changeover_start > free_from:
            blocks += _parted("wait", free_from, run.changeover_start, run, number, ())
        changing_to = max(plan_start, run.print_start)
        if run.changeover:
            through = tuple(closure for closure in run.interruptions if not closure.during_run)
            blocks += _parted("changeover", run.changeover_start, run.print_start, run, number, through)
        kind = "late run" if run.late_min else "run"
        through = tuple(closure for closure in run.interruptions if closure.during_run)
        blocks += _parted(kind, changing_to, run.end, run, number, through)
        free_from = max(free_from, run.end)
    if line.clean_down_min and line.runs:
        cleaned = free_from + _minutes(line.clean_down_min)
        blocks += _parted("cleaning", free_from, cleaned, line.runs[-1], len(line.runs), ())
    return tuple(blocks)


def _parted(
    kind: str,
    begins: datetime,
    ends: datetime,
    run: Run,
    number: int,
    closures: tuple[Interruption, ...],
) -> Iterator[Block]:
    """A stretch cut by the closures it goes through."""
    for closure in closures:
        yield from _block(kind, begins, closure.closed_from, run, number)
        yield from _block("closure", closure.closed_from, closure.closed_to, run, number)
        begins = closure.closed_to
    yield from _block(kind, begins, ends, run, number)


def _block(kind: str, begins: datetime, ends: datetime, run: Run, number: int) -> Iterator[Block]:
    if ends > begins:
        when = f"{day_and_clock(begins)} to {day_and_clock(ends)}"
        words = {"wait": "wait before", "changeover": "changeover to", "cleaning": "cleaning after"}
        yield Block(
            kind, begins, ends, f"{words.get(kind, kind)} {number} {run.job}, {when}", number, run.job
        )


def _minutes(minutes: Decimal) -> timedelta:
    return timedelta(minutes=float(minutes))
