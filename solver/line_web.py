"""A line's web as it passes its stations: the ledger's pieces, without what is cut away beforehand.

Two coordinates are at work here. The ledger's counts every metre that leaves the rolls. What is lost in a
splice is cut away at the splice table and passes no station, so no counter sees it: the counted coordinate
leaves it out. Both are µm from the plan's first metre on the line and grow upstream. In the counted one web
at x lies x_a − x farther on than web at x_a at the same moment, whatever is spliced between them.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from solver.sequence import Piece, PieceKind

CUT_AWAY = frozenset({PieceKind.SPLICE})
"""Kinds of piece that never pass a station."""

_BEFORE_SPLICE = frozenset({PieceKind.BLANK})
"""Kinds of piece that lie behind a run's last sellable metre though they count to that run."""


@dataclass(frozen=True, slots=True)
class PassingPiece:
    """A piece that passes the stations, `[from_um, to_um)` in the counted coordinate."""

    piece: Piece
    from_um: int
    to_um: int


@dataclass(frozen=True, slots=True)
class VersionWeb:
    """The web of one version in one run, all that is wasted inside it included; counted coordinate."""

    run: int
    job: str
    version: str
    from_um: int
    to_um: int


class LineWeb:
    """The web of one line; `pieces` are those of the ledger, in order."""

    def __init__(self, pieces: Sequence[Piece]) -> None:
        self.passing = tuple(_passing(pieces))
        self._from_um = [passing.from_um for passing in self.passing]
        self.end_um = self.passing[-1].to_um if self.passing else 0
        self.versions = tuple(_version_webs(self.passing))

    def piece_at(self, counted_um: int) -> PassingPiece | None:
        """The piece that begins there or has begun and not ended; None for web that is not of the plan."""
        if not 0 <= counted_um < self.end_um:
            return None
        return self.passing[bisect_right(self._from_um, counted_um) - 1]

    def piece_before(self, counted_um: int) -> PassingPiece | None:
        """The piece that has just passed when this web comes to a place; behind the plan's web its last."""
        if counted_um <= 0 or not self.passing:
            return None
        return self.piece_at(min(counted_um, self.end_um) - 1)

    def ledger_um(self, counted_um: int) -> int:
        """The ledger's coordinate of counted web; at a splice of what follows it.

        Behind the plan's web it goes on from its end.
        """
        there = self.piece_at(counted_um)
        if there is not None:
            return there.piece.from_um + counted_um - there.from_um
        if counted_um < 0 or not self.passing:
            return counted_um
        return self.passing[-1].piece.to_um + counted_um - self.end_um

    def ledger_end_um(self, counted_um: int) -> int:
        """The ledger's coordinate where web ends that is counted up to there; at a splice before it."""
        return self.ledger_um(counted_um - 1) + 1

    def last_sellable_um(self, run: int) -> int:
        """Where the last sellable metre of a line's first `run` runs ends; 0 where there are none before.

        What the following stops spoil lies before it, what they leave blank behind it.
        """
        return max(
            (
                passing.to_um
                for passing in self.passing
                if 1 <= passing.piece.run <= run and passing.piece.kind not in _BEFORE_SPLICE
            ),
            default=0,
        )

    def run_web_um(self, run: int, after_um: int) -> int:
        """Where `after_um` of a run's own web (what it sells, and the spoilage allowance) has been laid.

        Raises
        ------
        ValueError
            Where the run has no such web.
        """
        done_um = 0
        for passing in self.passing:
            if passing.piece.run == run and passing.piece.cause == "run":
                if after_um <= done_um + passing.piece.length_um:
                    return passing.from_um + after_um - done_um
                done_um += passing.piece.length_um
        raise ValueError(f"run {run} has {done_um} µm of web, not {after_um}")

    def roll_ends_um(self, run: int) -> list[int]:
        """Where a run's rolls end inside it: where the splice of each roll end lies, in order."""
        ends_um: list[int] = []
        group: list[PassingPiece] = []
        for passing in (*self.passing, None):
            if passing is not None and passing.piece.run == run and passing.piece.cause == "roll end":
                group.append(passing)
                continue
            if group:
                ends_um.append(_splice_um(group))
                group = []
        return ends_um

    def version_begun(self, counted_um: int) -> VersionWeb | None:
        """The last version of which some web lies before; None at the plan's beginning."""
        begun = [web for web in self.versions if web.from_um < counted_um]
        return begun[-1] if begun else None


def _passing(pieces: Sequence[Piece]) -> Iterator[PassingPiece]:
    from_um = 0
    for piece in pieces:
        if piece.kind not in CUT_AWAY:
            yield PassingPiece(piece, from_um, from_um + piece.length_um)
            from_um += piece.length_um


def _version_webs(passing: Sequence[PassingPiece]) -> Iterator[VersionWeb]:
    bounds: dict[tuple[int, str, str], tuple[int, int]] = {}
    for there in passing:
        piece = there.piece
        if piece.version is not None:
            key = (piece.run, piece.job, piece.version)
            bounds[key] = (bounds.get(key, (there.from_um, 0))[0], there.to_um)
    for (run, job, version), (from_um, to_um) in bounds.items():
        yield VersionWeb(run, job, version, from_um, to_um)


def _splice_um(group: Sequence[PassingPiece]) -> int:
    """Where the splice of a roll end lies: the strip follows it, spoiled print lies before it."""
    strip = next((there for there in group if there.piece.kind is PieceKind.STRIP), None)
    return group[-1].to_um if strip is None else strip.from_um
