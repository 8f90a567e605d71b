"""The reasons of a plan, and the difference of two orders, on a screen."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from app.contracts.reasons import Difference, Reasons
from app.documents.figures import tenths
from app.documents.told_reasons import (
    difference_sentences,
    late_sentences,
    part_name,
    reasons_sentences,
    runs_text,
    signed,
    told_runs,
)

MOST_PARTS = 25
"""Parts of a difference that are shown; a file has all."""


def reasons_page(reasons: Reasons) -> Iterator[RenderableType]:
    """A table a line, then what holds for all, the late jobs, and the baselines."""
    for line in dict.fromkeys(run.line for run in reasons.runs):
        yield _line_table(reasons, line)
    yield Text(" ".join(reasons_sentences(reasons)))
    for late in reasons.late:
        yield Text(f"Late: {' '.join(late_sentences(late, reasons.goal))}")
    for difference in reasons.differences:
        yield Text(" ".join(difference_sentences(difference)))


def difference_page(difference: Difference) -> Iterator[RenderableType]:
    """What one order costs more than another, by cause."""
    yield Text(" ".join(difference_sentences(difference)))
    if not difference.parts:
        return
    table = Table(title=f"What {difference.order} has more than {difference.other}", title_justify="left")
    table.add_column("what", overflow="fold")
    for heading in ("m", "min", "€"):
        table.add_column(heading, justify="right")
    for part in difference.parts[:MOST_PARTS]:
        table.add_row(
            f"{part_name(part)}{runs_text(part.more_runs)}",
            "" if part.more_m is None else signed(part.more_m, tenths),
            "" if part.more_min is None else signed(part.more_min, tenths),
            signed(part.more_eur),
        )
    rest = difference.parts[MOST_PARTS:]
    if rest:
        rest_eur = sum((part.more_eur for part in rest), Decimal(0))
        table.add_row(f"{len(rest)} smaller parts", "", "", signed(rest_eur))
    table.add_row("all, running included", "", "", signed(difference.total_eur), style="bold")
    yield table


def _line_table(reasons: Reasons, line: str) -> Table:
    table = Table(title=f"Why line {line} runs so", title_justify="left")
    table.add_column("#", justify="right")
    table.add_column("job", no_wrap=True)
    table.add_column("start waits for", overflow="fold", ratio=3)
    table.add_column("cheapest other place", overflow="fold", ratio=4)
    table.add_column("to end earlier", overflow="fold", ratio=4)
    table.add_column("make-ready, one person", overflow="fold", ratio=3)
    for run in told_runs(reasons, line):
        table.add_row(run.number, run.job, run.starts, run.elsewhere, run.earlier, run.make_ready)
    return table
