"""A line's web to scale: every piece of the ledger in rows of equal metres, with the stops.

A stop is drawn where the web lies that is at the splice table when the stop is made: its distance
behind the last sellable metre of the run before, the metres cut away in the splice added once the
splice has passed. A stop beyond the line's last metre is drawn at it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby, zip_longest
from math import ceil

from markupsafe import Markup

from app.contracts.base import ZERO
from app.contracts.sequences import Changeover, LineRuns, Piece, Run
from app.drawings.fills import WEB_FILLS, Palette, legend, mark, tick
from app.drawings.labels import metres
from app.drawings.svg import INK, drawing, element, first_that_fits, line, text, text_width_mm, titled

WIDTH_MM = 180.0
MARGIN_MM = 2.0
BAR_MM = WIDTH_MM - 2 * MARGIN_MM
ROW_MM, ROLL_MM = 22.0, 5.0
"""A row without rolls, and what their line adds."""
FEW_ROWS, MOST_ROWS = 12, 40
FINE_ROW_M = 2000
"""In longer rows the waste of a changeover can hardly be seen: rather more rows than those."""

ROWS_A_DRAWING = 3
"""So few that a drawing fits on a sheet beside other things."""

TICKS_A_ROW = 10
_BAR_TOP_MM, _BAR_HEIGHT_MM = 5.0, 7.0


@dataclass(frozen=True, slots=True)
class StopMark:
    """A stop on the web of a line."""

    name: str
    """Number of the run and of the stop in its changeover: 3.1; or 3r at a roll end inside the run."""
    at_m: Decimal
    """Web at the splice table then."""
    job: str
    stations: str

    @property
    def title(self) -> str:
        return f"Stop {self.name}, {self.job}, at {metres(self.at_m)}: {self.stations}"


@dataclass(frozen=True, slots=True)
class WebRoll:
    """A part of a roll that unwinds without a stop, on the web of a line."""

    roll: str
    from_m: Decimal
    to_m: Decimal

    @property
    def title(self) -> str:
        place = f"{metres(self.from_m)} to {metres(self.to_m)}"
        return f"Roll {self.roll}, {metres(self.to_m - self.from_m)} ({place})"


def web_strip(
    line_runs: LineRuns, pieces: Sequence[Piece], prefix: str, rolls: Sequence[WebRoll] = ()
) -> tuple[Markup, ...]:
    """The line's web, a few rows a drawing, all to the same scale.

    Parameters
    ----------
    pieces
        The pieces of the line, in order.
    prefix
        Starts the ids inside the drawings; no other drawing of the page may have it.
    rolls
        The rolls of the line's web, in order.
    """
    if not pieces:
        return ()
    total_m = pieces[-1].to_m
    row_m = row_length_m(total_m)
    row_count = ceil(total_m / row_m)
    stops = stop_marks(line_runs, pieces)
    web = _Web(line_runs, pieces, stops, rolls)
    sheets = range(0, row_count, ROWS_A_DRAWING)
    return tuple(
        _sheet(
            web,
            row_m,
            range(first, min(first + ROWS_A_DRAWING, row_count)),
            prefix,
        )
        for first in sheets
    )


def web_legend(pieces: Sequence[Piece], prefix: str) -> Markup:
    """The kinds of piece that occur, in the order in which they are told everywhere."""
    kinds = dict.fromkeys((*WEB_FILLS, *(piece.kind for piece in pieces)))
    occurring = {piece.kind for piece in pieces}
    return legend(prefix, WEB_FILLS, (kind for kind in kinds if kind in occurring), WIDTH_MM)


def row_length_m(total_m: Decimal) -> Decimal:
    """Metres of a row: 50, 100, 200, 500 … so that there are few rows and they can be read."""
    return Decimal(
        next(
            row_m
            for row_m in _row_lengths_m()
            if total_m <= row_m * (FEW_ROWS if row_m < FINE_ROW_M else MOST_ROWS)
        )
    )


def run_starts_m(runs: Sequence[Run]) -> tuple[Decimal, ...]:
    """Where on the line's web each run's changeover begins, and where the last run ends."""
    starts = [ZERO]
    for run, following in zip_longest(runs, runs[1:]):
        spoiled_m = following.changeover.spoil_outgoing_m if following and following.changeover else ZERO
        starts.append(starts[-1] + _own_m(run) + spoiled_m)
    return tuple(starts)


def stop_marks(line_runs: LineRuns, pieces: Sequence[Piece]) -> tuple[StopMark, ...]:
    """Every stop of a line in the order of its web: those of changeovers, and those of roll ends."""
    starts = run_starts_m(line_runs.runs)
    of_changeovers = (
        stop
        for number, (run, start_m) in enumerate(zip(line_runs.runs, starts, strict=False), start=1)
        if run.changeover
        for stop in _stops(run.changeover, number, run.name, start_m)
    )
    of_roll_ends = (
        StopMark(f"{piece.run}r", piece.from_m, _name(line_runs, piece.run), "roll end")
        for piece in pieces
        if piece.cause == "roll end" and piece.kind == "splice"
    )
    return tuple(sorted((*of_changeovers, *of_roll_ends), key=lambda stop: stop.at_m))


def _name(line_runs: LineRuns, number: int) -> str:
    """A run by its number; 0 is what was on the line before the plan."""
    return line_runs.runs[number - 1].name if number else ""


def _own_m(run: Run) -> Decimal:
    """Web of a run and its waste, but for the print of the run before that its stops spoil."""
    spoiled_before_m = run.changeover.spoil_outgoing_m if run.changeover else ZERO
    return run.web_m + run.waste_m - spoiled_before_m


def _stops(changeover: Changeover, number: int, job: str, start_m: Decimal) -> Iterator[StopMark]:
    for stop_number, stop in enumerate(changeover.stops, start=1):
        spliced = changeover.splice_at_m is not None and stop.at_m > changeover.splice_at_m
        at_m = start_m + stop.at_m + (changeover.splice_m if spliced else ZERO)
        stations = ", ".join(task.station for task in stop.tasks) or "no task"
        yield StopMark(f"{number}.{stop_number}", at_m, job, stations)


def _row_lengths_m() -> Iterator[int]:
    power = 1
    while True:
        yield from (50 * power, 100 * power, 200 * power)
        power *= 10


@dataclass(frozen=True, slots=True)
class _Web:
    """What is drawn of a line."""

    line_runs: LineRuns
    pieces: Sequence[Piece]
    stops: Sequence[StopMark]
    rolls: Sequence[WebRoll]

    @property
    def row_mm(self) -> float:
        return ROW_MM + (ROLL_MM if self.rolls else 0.0)


def _sheet(web: _Web, row_m: Decimal, rows: range, prefix: str) -> Markup:
    palette = Palette(f"{prefix}-{rows.start}", WEB_FILLS)
    total_m = web.pieces[-1].to_m
    marks: list[Markup] = []
    for place, row in enumerate(rows):
        end_m = min(total_m, (row + 1) * row_m)
        view = _Row(row * row_m, row_m, end_m, end_m == total_m, place * web.row_mm)
        marks += view.axis(ROLL_MM if web.rolls else 0.0)
        marks += view.pieces(web.pieces, palette)
        marks += view.runs(web.pieces, web.line_runs)
        marks += view.rolls(web.rolls)
        marks += view.stops(web.stops)
    from_m, to_m = rows.start * row_m, min(total_m, rows.stop * row_m)
    name = f"Web of line {web.line_runs.line} from {metres(from_m)} to {metres(to_m)}, to scale"
    return drawing(name, WIDTH_MM, len(rows) * web.row_mm, palette.definitions(), *marks)


@dataclass(frozen=True, slots=True)
class _Row:
    """Some metres of web from left to right."""

    from_m: Decimal
    length_m: Decimal
    to_m: Decimal
    is_last: bool
    top_mm: float

    def x_mm(self, at_m: Decimal) -> float:
        inside_m = min(max(at_m, self.from_m), self.to_m) - self.from_m
        return MARGIN_MM + float(inside_m / self.length_m) * BAR_MM

    def axis(self, lower_mm: float) -> Iterator[Markup]:
        """Metres, so much lower where rolls lie above."""
        top_mm = self.top_mm + _BAR_TOP_MM + _BAR_HEIGHT_MM + 4 + lower_mm
        yield line(MARGIN_MM, top_mm, self.x_mm(self.to_m), top_mm)
        for count in range(TICKS_A_ROW + 1):
            at_m = self.from_m + self.length_m * count / TICKS_A_ROW
            if at_m <= self.to_m:
                anchor = {0: "start", TICKS_A_ROW: "end"}.get(count, "middle")
                unit = " m" if count == 0 else ""
                yield tick(self.x_mm(at_m), top_mm, 0.9, f"{at_m.normalize():,f}{unit}", anchor)

    def pieces(self, pieces: Sequence[Piece], palette: Palette) -> Iterator[Markup]:
        for piece in pieces:
            if piece.from_m < self.to_m and piece.to_m > self.from_m:
                left_mm, right_mm = self.x_mm(piece.from_m), self.x_mm(piece.to_m)
                top_mm = self.top_mm + _BAR_TOP_MM
                yield mark(
                    palette, piece.kind, left_mm, top_mm, right_mm - left_mm, _BAR_HEIGHT_MM, _told(piece)
                )

    def runs(self, pieces: Sequence[Piece], line_runs: LineRuns) -> Iterator[Markup]:
        """Which run a stretch belongs to, below it."""
        inside = [piece for piece in pieces if piece.from_m < self.to_m and piece.to_m > self.from_m]
        below_mm = self.top_mm + _BAR_TOP_MM + _BAR_HEIGHT_MM
        for number, stretch in groupby((piece for piece in inside if piece.cause != "changeover"), _run):
            owned = list(stretch)
            left_mm, right_mm = self.x_mm(owned[0].from_m), self.x_mm(owned[-1].to_m)
            name = _name(line_runs, number)
            words = first_that_fits((f"{number} {name}", name, str(number)), right_mm - left_mm - 0.6)
            yield line(left_mm + 0.3, below_mm + 0.8, right_mm - 0.3, below_mm + 0.8, stroke_width=0.35)
            if words:
                yield text(left_mm + 0.4, below_mm + 3.4, words)

    def rolls(self, rolls: Sequence[WebRoll]) -> Iterator[Markup]:
        """Which roll the web is of, below its run: a mark where it begins, its number where there is room."""
        top_mm = self.top_mm + _BAR_TOP_MM + _BAR_HEIGHT_MM + 4.8
        for roll in rolls:
            if roll.from_m >= self.to_m or roll.to_m <= self.from_m:
                continue
            left_mm, right_mm = self.x_mm(roll.from_m), self.x_mm(roll.to_m)
            mark_mm = 3 if roll.from_m >= self.from_m else 0
            yield element(
                "path",
                titled(roll.title),
                d=f"M{left_mm:.3f} {top_mm:.3f}H{right_mm:.3f}M{left_mm:.3f} {top_mm:.3f}v{mark_mm}",
                fill="none",
                stroke=INK,
                stroke_width=0.25,
                stroke_dasharray="0.8 0.5",
            )
            words = first_that_fits((f"roll {roll.roll}", roll.roll), right_mm - left_mm - 1.6)
            if words:
                yield text(left_mm + 0.8, top_mm + 3.0, words)

    def stops(self, stops: Sequence[StopMark]) -> Iterator[Markup]:
        free_from_mm = 0.0
        for stop in stops:
            if self.from_m <= stop.at_m < self.to_m or (self.is_last and stop.at_m >= self.to_m):
                x_mm, y_mm = self.x_mm(stop.at_m), self.top_mm + _BAR_TOP_MM
                yield element(
                    "path",
                    titled(stop.title),
                    d=f"M{x_mm:.3f} {y_mm:.3f}l-1.1 -2h2.2zM{x_mm:.3f} {y_mm:.3f}v{_BAR_HEIGHT_MM:g}",
                    fill=INK,
                    stroke=INK,
                    stroke_width=0.2,
                )
                half_mm = text_width_mm(stop.name) / 2
                centre_mm = min(max(x_mm, half_mm), WIDTH_MM - half_mm)
                if centre_mm - half_mm >= free_from_mm:
                    yield text(centre_mm, y_mm - 2.4, stop.name, text_anchor="middle")
                    free_from_mm = centre_mm + half_mm + 0.4


def _run(piece: Piece) -> int:
    return piece.run


def _told(piece: Piece) -> str:
    whose = f"{piece.job}, {piece.version}" if piece.version else piece.job
    place = f"{metres(piece.from_m)} to {metres(piece.to_m)}"
    stock = f"{piece.substrate} {piece.width_mm:f} mm"
    return f"{piece.kind}, {metres(piece.length_m)} ({place}), {whose}, {stock}, {piece.cause}"
