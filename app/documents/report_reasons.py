"""The reasons of a plan as a part of the report."""

from __future__ import annotations

from dataclasses import dataclass

from app.contracts.reasons import Reasons
from app.documents.told_reasons import (
    ToldRun,
    difference_sentences,
    late_sentences,
    reasons_sentences,
    told_runs,
)


@dataclass(frozen=True, slots=True)
class ToldLine:
    """A line's runs with their reasons."""

    line: str
    runs: tuple[ToldRun, ...]


@dataclass(frozen=True, slots=True)
class ToldReasons:
    """What the page says; every inner tuple is a paragraph's sentences."""

    sentences: tuple[str, ...]
    differences: tuple[tuple[str, ...], ...]
    lines: tuple[ToldLine, ...]
    late: tuple[tuple[str, ...], ...]


def told_reasons(reasons: Reasons) -> ToldReasons:
    """The reasons in words."""
    return ToldReasons(
        sentences=tuple(reasons_sentences(reasons)),
        differences=tuple(tuple(difference_sentences(one)) for one in reasons.differences),
        lines=tuple(
            ToldLine(line, told_runs(reasons, line))
            for line in dict.fromkeys(run.line for run in reasons.runs)
        ),
        late=tuple(tuple(late_sentences(late, reasons.goal)) for late in reasons.late),
    )
