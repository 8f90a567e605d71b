"""Rolls that could be taken for a stretch, and what taking and leaving them costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from solver.checks import Checks
from solver.rolls import StockRules
from solver.stretches import Stretch


@dataclass(frozen=True, slots=True)
class Part:
    """Web of a roll without a defect, in µm from the first metre that unwinds.

    `splices_um` are flagged splices inside it, in order, neither at its beginning nor at its end.
    """

    from_um: int
    to_um: int
    splices_um: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Candidate:
    """A roll that could be taken.

    Parameters
    ----------
    length_um
        All of it, defects and core tail included.
    parts
        What is between its defects, in unwinding order. The core tail is taken off them here.
    eur_per_um
        What its web costs, as wide as the stretch is.
    age_days
        Since it was received; a number on one scale for all candidates.
    available_ms
        When it is there.
    reserved_for
        The only job whose runs it may be taken for; None for any.
    mounted
        It is on the line's unwind when the stretch begins.
    slit_from_um
        How wide it is now, if it is to be slit down to the stretch's width before it is mounted.
    trim_eur
        What is cut off then costs, of its whole length.
    opened
        Somebody has used it already.
    """

    roll: str
    length_um: int
    parts: tuple[Part, ...]
    eur_per_um: Fraction
    age_days: Fraction = Fraction(0)
    available_ms: int = 0
    reserved_for: str | None = None
    mounted: bool = False
    slit_from_um: int | None = None
    trim_eur: Fraction = Fraction(0)
    opened: bool = False

    def __post_init__(self) -> None:
        checks = Checks(f"roll {self.roll}")
        checks.that(self.length_um > 0, f"length_um must be above 0, is {self.length_um}")
        checks.not_negative("eur_per_um", self.eur_per_um)
        checks.not_negative("trim_eur", self.trim_eur)
        checks.that(self.slit_from_um is not None or not self.trim_eur, "nothing is cut off what is not slit")
        checks.that(self.slit_from_um is None or not self.mounted, "what is mounted cannot be slit any more")
        for part in self.parts:
            marks = (part.from_um, *part.splices_um, part.to_um)
            checks.that(
                all(before < behind for before, behind in pairwise(marks)),
                f"a part must end behind its beginning, with its splices between in order, is {marks}",
            )
        ends = [0, *(mark for part in self.parts for mark in (part.from_um, part.to_um)), self.length_um]
        checks.that(ends == sorted(ends), f"parts must be in order and inside the roll, are {ends[1:-1]}")
        checks.done()

    @classmethod
    def whole(cls, roll: str, length_um: int, eur_per_um: Fraction) -> Candidate:
        """A roll without a flaw."""
        return cls(roll, length_um, (Part(0, length_um),), eur_per_um)


@dataclass(frozen=True, slots=True)
class Piece:
    """What unwinds of a roll without a flaw.

    Parameters
    ----------
    flagged
        It begins with a splice that is in the roll.
    begins_free
        A stretch that begins with it has no roll end there. What leads to a stretch is its first changeover,
        which has its splice already; only where one of the rolls is on the unwind nothing is spliced before.
        Then that roll goes on, unless its first web is cut out, and any other is spliced to it.
    """

    from_um: int
    to_um: int
    flagged: bool
    begins_free: bool

    @property
    def length_um(self) -> int:
        return self.to_um - self.from_um


@dataclass(frozen=True, slots=True)
class Usable:
    """A candidate as a stretch may take it.

    Parameters
    ----------
    candidate
        Its number in the list of candidates.
    pieces
        Its web between defects and flagged splices, without the core tail.
    windows
        Parts of the stretch in which it may be used, (from, to) µm, apart from each other.
    open_eur, age_eur
        What taking it costs, beside the trim of a wider one.
    """

    candidate: int
    roll: Candidate
    pieces: tuple[Piece, ...]
    windows: tuple[tuple[int, int], ...]
    open_eur: Fraction
    age_eur: Fraction

    @property
    def taking_eur(self) -> Fraction:
        """All that it costs before a metre of it runs."""
        return self.open_eur + self.age_eur + self.roll.trim_eur

    @property
    def tail_um(self) -> int:
        """What is left of it at least."""
        return self.roll.length_um - self.pieces[-1].to_um

    @property
    def length_um(self) -> int:
        """All that could be drawn from it."""
        return sum(piece.length_um for piece in self.pieces)

    def until_um(self, from_um: int) -> int:
        """How far it may be used from here on in the stretch; no further than here where it may not."""
        if self.roll.mounted and from_um > 0:
            return from_um
        return next((last for first, last in self.windows if first <= from_um < last), from_um)


def usable_rolls(stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules) -> tuple[Usable, ...]:
    """Those of which something could be used somewhere, in the order given.

    By how much one is younger is counted from the oldest of the stretch's own width, if there is any: an old
    roll that is wider comes for its own width, not here.

    Raises
    ------
    ValueError
        Where a roll is named twice, or two are on the unwind.
    """
    checks = Checks("candidates")
    checks.unique("roll", [candidate.roll for candidate in candidates])
    mounted = [candidate.roll for candidate in candidates if candidate.mounted]
    checks.that(len(mounted) <= 1, f"one roll at most is mounted, but {' and '.join(mounted)} are")
    checks.done()
    pieces = [_pieces(candidate, prices.core_tail_um, bool(mounted)) for candidate in candidates]
    windows = [_windows(stretch, candidate) for candidate in candidates]
    could = [idx for idx in range(len(candidates)) if pieces[idx] and windows[idx]]
    own = [idx for idx in could if candidates[idx].slit_from_um is None]
    oldest_days = max((candidates[idx].age_days for idx in own or could), default=Fraction(0))
    return tuple(
        Usable(
            idx,
            candidates[idx],
            pieces[idx],
            windows[idx],
            Fraction(0) if candidates[idx].mounted or candidates[idx].opened else prices.open_eur,
            max(Fraction(0), oldest_days - candidates[idx].age_days) * prices.age_eur_per_day,
        )
        for idx in could
    )


def _pieces(candidate: Candidate, core_tail_um: int, any_mounted: bool) -> tuple[Piece, ...]:
    end_um = candidate.length_um - core_tail_um
    pieces: list[Piece] = []
    for part in candidate.parts:
        marks = [
            *(mark for mark in (part.from_um, *part.splices_um) if mark < end_um),
            min(part.to_um, end_um),
        ]
        for start, stop in pairwise(marks):
            begins_free = not any_mounted or (candidate.mounted and start == 0)
            pieces.append(Piece(start, stop, start != part.from_um, begins_free))
    return tuple(pieces)


def _windows(stretch: Stretch, candidate: Candidate) -> tuple[tuple[int, int], ...]:
    """Segments in a row in which it may be used; the mounted roll is taken first or not at all."""
    windows: list[tuple[int, int]] = []
    is_open = False
    for segment, (start, stop) in zip(stretch.segments, pairwise(stretch.bounds_um), strict=True):
        if start == stop:
            continue
        fits = candidate.reserved_for in (None, segment.job) and candidate.available_ms <= segment.needed_ms
        if fits and is_open:
            windows[-1] = (windows[-1][0], stop)
        elif fits:
            windows.append((start, stop))
        is_open = fits
    return tuple(window for window in windows if not candidate.mounted or window[0] == 0)
