"""The stretches of a sequence: every line's web, cut where the stock changes, and what lies where on it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from solver.layout import reel_web_um
from solver.ledger import web_ledger
from solver.plant import Line
from solver.problem import Problem
from solver.run_plan import roll_end
from solver.sequence import Piece, PieceKind, Placement, Run, Sequence, Stock
from solver.stretches import Segment, SegmentKind, Stretch
from solver.tooling import used_stations
from solver.weights import Weights

RunKey = tuple[int, Placement]
"""A run by its line and what runs there."""


@dataclass(frozen=True, slots=True)
class LineStretch:
    """A stretch, where it is, and the pieces of web that its segments are made of.

    Parameters
    ----------
    first_ms
        When its web must be there.
    runs
        The run of every segment; None for what the line holds before its first.
    pieces
        Of every segment.
    """

    line_idx: int
    stock: Stock
    first_ms: int
    stretch: Stretch
    runs: tuple[RunKey | None, ...]
    pieces: tuple[tuple[Piece, ...], ...]

    @property
    def is_threaded_before(self) -> bool:
        """Whether it is all of what the line holds before its first run."""
        return all(key is None for key in self.runs)

    def run_um(self, segment_idx: int, offset_um: int) -> int:
        """Where in its run a place is: the web of the run before it, or below 0 the strip still to come."""
        ahead_um = _run_web_um(self.pieces[segment_idx], offset_um)
        if self.stretch.segments[segment_idx].kind is SegmentKind.STRIP:
            return ahead_um - _run_web_um(self.pieces[segment_idx])
        for before in range(segment_idx):
            in_run = self.runs[before] == self.runs[segment_idx]
            if in_run and self.stretch.segments[before].kind is SegmentKind.PRINT:
                ahead_um += _run_web_um(self.pieces[before])
        return ahead_um


def _run_web_um(pieces: tuple[Piece, ...], until_um: int | None = None) -> int:
    """Of so much web the run's own: its versions' or its strip's, without splices, restarts and start-ups."""
    own_um = 0
    left_um = sum(piece.length_um for piece in pieces) if until_um is None else until_um
    for piece in pieces:
        length_um = min(piece.length_um, left_um)
        left_um -= length_um
        if piece.kind in (PieceKind.SELLABLE, PieceKind.SPOILAGE, PieceKind.STRIP):
            own_um += length_um
    return own_um


def stretches_of(problem: Problem, sequence: Sequence, weights: Weights) -> tuple[LineStretch, ...]:
    """The stretches of a sequence, in the order in which they begin. What its roll ends waste is not in them.

    Parameters
    ----------
    weights
        By which web and minutes of roll ends are priced.
    """
    found: list[LineStretch] = []
    for line_idx, (line, pieces) in enumerate(
        zip(sequence.lines, web_ledger(problem, sequence), strict=True)
    ):
        maker = _Maker(problem, weights, line_idx, line.runs)
        lasting = (piece for piece in pieces if piece.cause != "roll end")
        found += map(maker.stretch, by_stock(lasting))
    return tuple(sorted(found, key=lambda each: (each.first_ms, each.line_idx)))


def by_stock(pieces: Iterable[Piece]) -> list[tuple[Piece, ...]]:
    """A line's web, parted where the stock changes."""
    return [tuple(own) for _, own in groupby(pieces, key=lambda piece: piece.stock)]


@dataclass(slots=True)
class _Open:
    """A segment that is still growing."""

    kind: SegmentKind
    run: int
    version: str | None
    pieces: list[Piece]


@dataclass(frozen=True, slots=True)
class _Maker:
    """Makes the stretches of a line; `runs` are counted from 1, 0 is what it holds at first."""

    problem: Problem
    weights: Weights
    line_idx: int
    runs: tuple[Run, ...]

    @property
    def line(self) -> Line:
        return self.problem.plant.lines[self.line_idx]

    def stretch(self, pieces: tuple[Piece, ...]) -> LineStretch:
        stock = pieces[0].stock
        opened = list(_opened(pieces))
        segments = tuple(self._segment(each, stock) for each in opened)
        return LineStretch(
            line_idx=self.line_idx,
            stock=stock,
            first_ms=segments[0].needed_ms,
            stretch=Stretch(segments),
            runs=tuple(self._key(each.run) for each in opened),
            pieces=tuple(tuple(each.pieces) for each in opened),
        )

    def _key(self, number: int) -> RunKey | None:
        return (self.line_idx, self.runs[number - 1].placement) if number else None

    def _segment(self, opened: _Open, stock: Stock) -> Segment:
        """A segment as rolls see it. In what the line holds before its first run, and in a run that has
        started, the account knows no roll ends: they waste no web there.
        """
        length_um = sum(piece.length_um for piece in opened.pieces)
        run = self.runs[opened.run - 1] if opened.run else None
        used: tuple[int, ...] = ()
        if run is not None and opened.kind is SegmentKind.PRINT:
            used = used_stations(self.line, run.placement.stations)
        end = roll_end(self.problem, self.weights, self.line, used, stock)
        eur = end.waste_um * self.weights.waste_eur_per_um(self.problem.eur_per_um(stock))
        eur += end.duration_ms * self.weights.changeover * self.line.eur_per_ms
        strip = Segment(
            kind=SegmentKind.STRIP,
            length_um=length_um,
            run=opened.run,
            job=run.job if run else "",
            needed_ms=max(0, run.changeover_start_ms) if run else 0,
            roll_end_um=end.waste_um if run is not None and run.changeover is not None else 0,
            roll_end_eur=Fraction(eur),
        )
        if run is None or opened.version is None:
            return strip
        job = self.problem.jobs[run.job_idx]
        return replace(
            strip,
            kind=SegmentKind.PRINT,
            version=opened.version,
            reel_um=self._reel_um(run, opened.version),
            splice_rule=job.splice_rule,
            most_splices_a_reel=job.most_splices_a_reel,
            spoiled=tuple(_spoiled(opened.pieces)),
        )

    def _reel_um(self, run: Run, version: str) -> int | None:
        """Web that fills a customer's reel of every lane, with its spoilage: labels along the web times the
        room each takes; None where a lane is one reel.
        """
        job = self.problem.jobs[run.job_idx]
        if job.labels_per_reel is None:
            return None
        die = self.problem.dies[job.die]
        (made,) = (each for each in run.versions if each.version == version)
        return max(1, reel_web_um(job.labels_per_reel, die, made)) if made.good_um else None


def _spoiled(pieces: list[Piece]) -> Iterator[tuple[int, int]]:
    """Parts of a version's web of which no reel has anything, from its first metre."""
    at_um = 0
    for piece in pieces:
        if piece.version is None:
            yield at_um, at_um + piece.length_um
        at_um += piece.length_um


def _opened(pieces: tuple[Piece, ...]) -> Iterator[_Open]:
    """Segments: a strip before every run, of no length where there is none, then the run's versions. What is
    spoiled inside a run, and what is left blank behind it, lies with the version around it.
    """
    opened: list[_Open] = []
    for piece in pieces:
        kind = SegmentKind.STRIP if piece.version is None else SegmentKind.PRINT
        last = opened[-1] if opened else None
        spoiled = piece.version is None and last is not None and last.kind is SegmentKind.PRINT
        if (last is not None and spoiled and last.run == piece.run and _lies_inside(piece)) or (
            last is not None and (last.kind, last.run, last.version) == (kind, piece.run, piece.version)
        ):
            last.pieces.append(piece)
        else:
            if kind is SegmentKind.PRINT and last is not None and last.run != piece.run:
                opened.append(_Open(SegmentKind.STRIP, piece.run, None, []))
            opened.append(_Open(kind, piece.run, piece.version, [piece]))
    return iter(opened)


def _lies_inside(piece: Piece) -> bool:
    return piece.kind in (PieceKind.RESTART, PieceKind.BLANK) or piece.cause == "closure"
