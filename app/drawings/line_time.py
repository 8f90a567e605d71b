"""What a line does when, as blocks of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from app.contracts.sequences import Closure, LineRuns, Run
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
    name: str
    """Of that run."""


def line_blocks(line: LineRuns, plan_start: datetime) -> tuple[Block, ...]:
    """A line's blocks in order from the plan's start: waits, changeovers, runs, closures, cleaning."""
    closures = line.closures
    blocks: list[Block] = []
    free_from = plan_start
    for number, run in enumerate(line.runs, start=1):
        if run.changeover_start > free_from:
            blocks += _parted("wait", free_from, run.changeover_start, run, number, closures)
        changing_to = max(plan_start, run.print_start)
        if run.changeover:
            blocks += _parted("changeover", run.changeover_start, run.print_start, run, number, closures)
        kind = "late run" if run.late_min else "run"
        blocks += _parted(kind, changing_to, run.end, run, number, closures)
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
    closures: tuple[Closure, ...],
) -> Iterator[Block]:
    """A stretch cut by the closures that lie in it."""
    for closure in closures:
        closed_from, closed_to = max(begins, closure.closed_from), min(ends, closure.closed_to)
        if closed_from < closed_to:
            yield from _block(kind, begins, closed_from, run, number)
            yield from _block("closure", closed_from, closed_to, run, number)
            begins = closed_to
    yield from _block(kind, begins, ends, run, number)


def _block(kind: str, begins: datetime, ends: datetime, run: Run, number: int) -> Iterator[Block]:
    if ends > begins:
        when = f"{day_and_clock(begins)} to {day_and_clock(ends)}"
        words = {"wait": "wait before", "changeover": "changeover to", "cleaning": "cleaning after"}
        yield Block(
            kind, begins, ends, f"{words.get(kind, kind)} {number} {run.name}, {when}", number, run.name
        )


def _minutes(minutes: Decimal) -> timedelta:
    return timedelta(minutes=float(minutes))
