"""Where rolls lie on the lines' web: stretches, and places on them, read from the ledger's pieces alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from solver.roll_choice import RollChoice, Use
from solver.roll_ledger import RollPart, RollPiece
from solver.sequence import Piece, PieceKind, Stock
from tests.checker.expected import ExpectedRun
from tests.checker.money import runs_of_line
from tests.checker.rounding import MS_PER_MIN
from tests.checker.state import Replay
from tests.checker.web import CHANGEOVER, ROLL_END, Ledger

RollLedger = dict[str, tuple[RollPiece, ...]]
OWN = (PieceKind.SELLABLE, PieceKind.SPOILAGE)
"""A run's own web: what it sells, and what inspection rejects of it, which lies anywhere between."""


@dataclass(frozen=True)
class StretchWeb:
    """Web of one stock on one line, without a break.

    Parameters
    ----------
    line_web, pieces
        Pieces of all the line's web, and those of the stretch.
    runs
        The line's runs; those of the pieces are counted from 1.
    is_first
        Whether the line begins with it.
    """

    line_idx: int
    line: str
    stock: Stock
    line_web: tuple[Piece, ...]
    pieces: tuple[Piece, ...]
    runs: tuple[ExpectedRun, ...]
    is_first: bool

    @property
    def from_um(self) -> int:
        return self.pieces[0].from_um

    @property
    def to_um(self) -> int:
        return self.pieces[-1].to_um

    @property
    def name(self) -> str:
        return f"stretch of {self.line} from {self.from_um} µm"

    @property
    def first_ms(self) -> int:
        """When its web must be there."""
        return self.needed_ms(self.pieces[0])

    @property
    def end_ms(self) -> int:
        """When its last run ends; what a line holds before its first run is gone when that prints."""
        if self.is_threaded_before:
            return self.runs[0].print_start_ms
        return max(self.runs[piece.run - 1].end_ms for piece in self.pieces if piece.run)

    @property
    def is_threaded_before(self) -> bool:
        """Whether it is all of what the line holds before its first run."""
        return not any(piece.run for piece in self.pieces)

    def needed_ms(self, piece: Piece) -> int:
        """A run draws its web when its changeover starts, or at the plan's start."""
        return max(0, self.runs[piece.run - 1].start_ms) if piece.run else 0

    def under(self, from_um: int, to_um: int) -> tuple[Piece, ...]:
        """The stretch's pieces of which something lies there; none where there is no web between."""
        if from_um >= to_um:
            return ()
        return tuple(piece for piece in self.pieces if piece.from_um < to_um and from_um < piece.to_um)

    def good_um(self, at_um: int) -> int:
        """Web of the stretch before a place, without what its roll ends waste."""
        return sum(
            min(piece.to_um, at_um) - piece.from_um
            for piece in self.under(self.from_um, at_um)
            if piece.cause != ROLL_END
        )

    def told_between(self, one_um: int, other_um: int) -> bool:
        """Whether web in which the place of a roll end is told lies between two places, told in `good_um`."""
        first_um, last_um = sorted((one_um, other_um))
        return any(
            self.good_um(piece.from_um) < last_um and first_um < self.good_um(piece.to_um)
            for piece in self.pieces
            if piece.kind in OWN or (piece.kind, piece.cause) == (PieceKind.STRIP, CHANGEOVER)
        )

    def passes_ms(self, piece: Piece, at_um: int) -> Fraction:
        """The earliest that a piece's web there can leave its roll: at full speed from the first print."""
        if piece.run == 0 or piece.kind not in OWN:
            return Fraction(self.needed_ms(piece))
        run = self.runs[piece.run - 1]
        own_um = own_web_um(self.line_web, piece.run, at_um)
        return max(0, run.print_start_ms) + Fraction(own_um * MS_PER_MIN, run.speed_um_min)


@dataclass(frozen=True)
class Laid:
    """A use as it lies on its line's web."""

    use: Use
    from_um: int
    to_um: int

    def on_web(self, roll_um: int) -> int:
        """Where a place of the roll lies."""
        return self.from_um + roll_um - self.use.from_um


@dataclass(frozen=True)
class Place:
    """What lies around a place of a line's web: own web of runs before and behind it; None at the ends."""

    before: Piece | None
    behind: Piece | None

    @property
    def is_in_run(self) -> bool:
        """Whether one run's own web lies on both sides."""
        return self.before is not None and self.behind is not None and self.before.run == self.behind.run

    @property
    def is_in_version(self) -> bool:
        """Whether one version's web of one run lies on both sides."""
        return self.is_in_run and self.before is not None and self.before.version == self.version

    @property
    def version(self) -> str | None:
        return None if self.behind is None else self.behind.version


def stretch_webs(play: Replay, ledger: Ledger) -> tuple[StretchWeb, ...]:
    """All lines' stretches in the order in which they begin, then by line and web."""
    found = [each for line_idx, pieces in enumerate(ledger) for each in _on_line(play, line_idx, pieces)]
    return tuple(sorted(found, key=lambda each: (each.first_ms, each.line_idx)))


def _on_line(play: Replay, line_idx: int, pieces: tuple[Piece, ...]) -> Iterator[StretchWeb]:
    runs = tuple(runs_of_line(play, line_idx))
    line = play.problem.plant.lines[line_idx].id
    for stock, own in groupby(pieces, key=lambda piece: piece.stock):
        of_stretch = tuple(own)
        yield StretchWeb(line_idx, line, stock, pieces, of_stretch, runs, of_stretch[0] is pieces[0])


def laid_uses(stretch: StretchWeb, choice: RollChoice) -> tuple[Laid, ...]:
    """The uses of a choice one behind the other on its stretch."""
    laid: list[Laid] = []
    at_um = stretch.from_um
    for use in choice.uses:
        laid.append(Laid(use, at_um, at_um + use.to_um - use.from_um))
        at_um = laid[-1].to_um
    return tuple(laid)


def on_stretch(stretch: StretchWeb, rolls: RollLedger) -> list[RollPiece]:
    """Web of rolls that lies on a stretch, in web order."""
    there = [
        piece
        for pieces in rolls.values()
        for piece in pieces
        if piece.part is RollPart.WEB
        and piece.web is not None
        and piece.web.line == stretch.line
        and stretch.from_um <= piece.web.from_um < stretch.to_um
    ]
    return sorted(there, key=lambda piece: 0 if piece.web is None else piece.web.from_um)


def place_at(pieces: Iterable[Piece], at_um: int) -> Place:
    """What lies around a place, the web of waste passed over."""
    before: Piece | None = None
    for piece in pieces:
        if piece.kind not in OWN:
            continue
        if piece.from_um < at_um:
            before = piece
        if piece.to_um > at_um:
            return Place(before, piece)
    return Place(before, None)


def own_web_um(pieces: Iterable[Piece], run: int, at_um: int, version: str | None = None) -> int:
    """A run's own web before a place, or a version's of it."""
    return sum(
        min(piece.to_um, at_um) - piece.from_um
        for piece in pieces
        if piece.run == run
        and piece.kind in OWN
        and piece.from_um < at_um
        and version in (None, piece.version)
    )


def in_run_um(pieces: tuple[Piece, ...], run: int, at_um: int) -> int:
    """A run's own web before a place; on the strip before the run, below 0, what is still to come of it."""
    done_um = own_web_um(pieces, run, at_um)
    to_come_um = sum(
        piece.to_um - max(piece.from_um, at_um)
        for piece in pieces
        if (piece.run, piece.kind, piece.cause) == (run, PieceKind.STRIP, CHANGEOVER) and piece.to_um > at_um
    )
    return done_um - to_come_um
