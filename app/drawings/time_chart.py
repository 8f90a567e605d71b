"""Lines as rows against the clock: waits, changeovers, runs, closures and due marks, to scale.

A long plan is drawn in several panels of equal hours, which begin at full hours of the site's clock.
Hours are those of UTC moments, so that a night in which the clock is set keeps its true length.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby, zip_longest
from operator import itemgetter
from zoneinfo import ZoneInfo

from markupsafe import Markup

from app.contracts import sequences as contracts
from app.contracts.sequences import LineRuns, Run
from app.drawings.fills import TIME_FILLS, Palette, legend, mark, tick
from app.drawings.labels import day_and_clock
from app.drawings.line_time import Block, line_blocks
from app.drawings.svg import (
    INK,
    TEXT_MM,
    drawing,
    element,
    first_that_fits,
    line,
    text,
    text_width_mm,
    titled,
)

WIDTH_MM = 180.0
NAME_MM = 16.0
RIGHT_MM = 5.0
BAR_MM = WIDTH_MM - NAME_MM - RIGHT_MM
LINE_MM = 15.0
HEAD_MM = 5.0
FOOT_MM = 7.0
PANEL_TICKS = {2: 8, 3: 6, 4: 8, 6: 6, 8: 8, 12: 12}
"""Ticks by hours of a panel. The fewest hours that hold a plan make one panel; a longer one has several."""

SHOWN_AHEAD = timedelta(hours=1)
"""How far after the last block a due time may lie and still be in the chart."""

_IDLE = ("wait", "closure")
_BLOCK_MM = 6.5
_FLAG_MM = 1.7
"""From the middle of a flag to its words, and to the next flag's."""

_DUE_ON_TIME, _DUE_LATE = "#ffffff", INK


@dataclass(frozen=True, slots=True)
class _Panel:
    """Some hours from left to right."""

    begins: datetime
    hours: int
    zone: ZoneInfo

    @property
    def ends(self) -> datetime:
        return self.begins + timedelta(hours=self.hours)

    def x_mm(self, moment: datetime) -> float:
        share = (moment.astimezone(UTC) - self.begins) / timedelta(hours=self.hours)
        return NAME_MM + min(max(share, 0.0), 1.0) * BAR_MM

    def holds(self, moment: datetime) -> bool:
        return self.begins <= moment.astimezone(UTC) < self.ends

    def meets(self, block: Block) -> bool:
        return block.begins.astimezone(UTC) < self.ends and block.ends.astimezone(UTC) > self.begins

    def local(self, moment: datetime) -> datetime:
        return moment.astimezone(self.zone)


def time_chart(sequence: contracts.Sequence, prefix: str) -> tuple[Markup, ...]:
    """The chart, a panel a drawing. Panels in which every line only waits are left out.

    Parameters
    ----------
    prefix
        Starts the ids inside the drawings; no other drawing of the page may have it.
    """
    lines = [line_runs for line_runs in sequence.lines if line_runs.runs]
    blocks = {line_runs.line: line_blocks(line_runs, sequence.start) for line_runs in lines}
    every_block = [block for of_line in blocks.values() for block in of_line]
    return tuple(
        _drawn(panel, lines, blocks, f"{prefix}-{number}")
        for number, panel in enumerate(_panels(sequence, every_block))
        if any(panel.meets(block) for block in every_block if block.kind not in _IDLE)
        or any(panel.holds(due) for due in _dues(sequence))
    )


def time_legend(sequence: contracts.Sequence, prefix: str) -> Markup:
    """The kinds of block that occur."""
    occurring = {
        block.kind for line_runs in sequence.lines for block in line_blocks(line_runs, sequence.start)
    }
    return legend(prefix, TIME_FILLS, (kind for kind in TIME_FILLS if kind in occurring), WIDTH_MM)


def _panels(sequence: contracts.Sequence, blocks: Sequence[Block]) -> Iterator[_Panel]:
    """Panels from the full hour at or before the plan's start to the end of the last block."""
    zone = ZoneInfo(sequence.zone)
    start = sequence.start.astimezone(zone)
    begins = (start - timedelta(minutes=start.minute, seconds=start.second)).replace(microsecond=0)
    begins_utc = begins.astimezone(UTC)
    last = max((block.ends.astimezone(UTC) for block in blocks), default=begins_utc)
    last = max([last, *(due for due in _dues(sequence) if due <= last + SHOWN_AHEAD)])
    hours_needed = (last - begins_utc) / timedelta(hours=1)
    hours = next((hours for hours in PANEL_TICKS if hours_needed < hours), max(PANEL_TICKS))
    while begins_utc <= last:
        yield _Panel(begins_utc, hours, zone)
        begins_utc += timedelta(hours=hours)


def _dues(sequence: contracts.Sequence) -> Iterator[datetime]:
    for run in (run for line_runs in sequence.lines for run in line_runs.runs):
        if run.press_due is not None:
            yield run.press_due.astimezone(UTC)


def _drawn(
    panel: _Panel, lines: Sequence[LineRuns], blocks: dict[str, tuple[Block, ...]], prefix: str
) -> Markup:
    palette = Palette(prefix, TIME_FILLS)
    marks = [*_clock(panel, len(lines))]
    for place, line_runs in enumerate(lines):
        top_mm = HEAD_MM + place * LINE_MM
        marks.append(text(0, top_mm + 5, _short(line_runs.line), font_weight="bold"))
        marks += _blocks(panel, blocks[line_runs.line], top_mm + 1, palette)
        marks += _due_marks(panel, line_runs, top_mm + 1 + _BLOCK_MM)
    name = (
        f"Time chart from {day_and_clock(panel.local(panel.begins))} "
        f"to {day_and_clock(panel.local(panel.ends))}, to scale"
    )
    height_mm = HEAD_MM + len(lines) * LINE_MM + FOOT_MM
    return drawing(name, WIDTH_MM, height_mm, palette.definitions(), *marks)


def _clock(panel: _Panel, line_count: int) -> Iterator[Markup]:
    """The day above, the hours below, a thin line for each tick."""
    bottom_mm = HEAD_MM + line_count * LINE_MM
    yield text(NAME_MM, HEAD_MM - 1.6, day_and_clock(panel.local(panel.begins)), font_weight="bold")
    ticks = PANEL_TICKS[panel.hours]
    for count in range(ticks + 1):
        moment = panel.begins + timedelta(hours=panel.hours) * count / ticks
        x_mm = panel.x_mm(moment)
        yield line(x_mm, HEAD_MM, x_mm, bottom_mm, stroke="#8a9499", stroke_width=0.1)
        yield tick(x_mm, bottom_mm, 1.2, f"{panel.local(moment):%H:%M}")
    yield line(NAME_MM, bottom_mm, NAME_MM + BAR_MM, bottom_mm)


def _blocks(panel: _Panel, blocks: Sequence[Block], top_mm: float, palette: Palette) -> Iterator[Markup]:
    for block in blocks:
        if panel.meets(block):
            left_mm, right_mm = panel.x_mm(block.begins), panel.x_mm(block.ends)
            yield mark(palette, block.kind, left_mm, top_mm, right_mm - left_mm, _BLOCK_MM, block.title)
            words = first_that_fits(
                (f"{block.number} {block.name}", str(block.number)), right_mm - left_mm - 0.8
            )
            if block.kind == "run" and words:
                yield text(left_mm + 0.6, top_mm + 4.2, words)
            if block.kind == "late run" and words:
                yield from _on_white(left_mm + 0.6, top_mm + 4.2, words)


def _on_white(x_mm: float, y_mm: float, words: str) -> Iterator[Markup]:
    """Words that a hatch would make hard to read."""
    width_mm = text_width_mm(words)
    yield element(
        "rect", x=x_mm - 0.3, y=y_mm - TEXT_MM, width=width_mm, height=TEXT_MM + 0.8, fill="#ffffff"
    )
    yield text(x_mm, y_mm, words)


def _due_marks(panel: _Panel, line_runs: LineRuns, top_mm: float) -> Iterator[Markup]:
    """A flag below the line for each due time in the panel; filled where a run misses it."""
    due_runs = [
        (run.press_due, number, run)
        for number, run in enumerate(line_runs.runs, start=1)
        if run.press_due is not None and panel.holds(run.press_due)
    ]
    due_runs.sort(key=itemgetter(0, 1))
    flags = [_Flag(due, tuple(alike)) for due, alike in groupby(due_runs, key=itemgetter(0))]
    for flag, following in zip_longest(flags, flags[1:]):
        x_mm = panel.x_mm(flag.due)
        end_mm = panel.x_mm(following.due) - _FLAG_MM if following else WIDTH_MM
        yield element(
            "path",
            titled(flag.title),
            d=f"M{x_mm:.3f} {top_mm:.3f}v1.2l1.2 1.5-1.2 1.5-1.2-1.5 1.2-1.5",
            fill=_DUE_LATE if flag.missed else _DUE_ON_TIME,
            stroke=INK,
            stroke_width=0.25,
        )
        words = first_that_fits(flag.wordings, end_mm - x_mm - _FLAG_MM)
        if words:
            yield text(x_mm + _FLAG_MM, top_mm + 3.7, words)


@dataclass(frozen=True, slots=True)
class _Flag:
    """Runs of a line that must end by the same moment."""

    due: datetime
    due_runs: tuple[tuple[datetime, int, Run], ...]

    @property
    def missed(self) -> tuple[int, ...]:
        return tuple(number for _, number, run in self.due_runs if run.late_min)

    @property
    def title(self) -> str:
        runs = "; ".join(
            f"{number} {run.name} {'missed' if run.late_min else 'kept'}" for _, number, run in self.due_runs
        )
        return f"press due {day_and_clock(self.due)}: {runs}"

    @property
    def wordings(self) -> tuple[str, ...]:
        """From telling every run to a count."""
        kept = [str(number) for _, number, run in self.due_runs if not run.late_min]
        missed = [str(number) for number in self.missed]
        late = f"{' '.join(missed)} late" if missed else ""
        counts = (f"{len(kept)} kept" if kept else "", f"{len(missed)} late" if missed else "")
        told = (part for part in (" ".join(kept), late) if part)
        return ", ".join(told), ", ".join(part for part in counts if part), f"{len(self.due_runs)} due"


def _short(name: str) -> str:
    """A line's name as far as it fits beside the chart."""
    fitting = int(NAME_MM / text_width_mm("n")) - 1
    return name if len(name) <= fitting else f"{name[: fitting - 1]}…"
