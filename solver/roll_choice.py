"""The rolls chosen for a stretch, with every metre of them and every part of what they cost."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import groupby, pairwise

from solver.roll_candidates import Piece, Usable
from solver.roll_ends import counted_segments, roll_end_spots, spot_at, start_spot
from solver.rolls import StockRules
from solver.stretches import SegmentKind, Stretch
from solver.stub_cost import StubCost


@dataclass(frozen=True, slots=True)
class Taken:
    """A piece of a roll laid on the stretch: what the model and the rule of thumb answer in.

    Parameters
    ----------
    usable, piece
        The roll's number among the usable ones, the piece's number in the roll.
    from_um, to_um
        Good web it gives, in µm from the stretch's first metre.
    runs_through
        It begins with a flagged splice that is left in the web.
    """

    usable: int
    piece: int
    from_um: int
    to_um: int
    runs_through: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Where on a stretch: a segment and the web of it that is done. Where segments meet it is the strip,
    between two versions the one that ends.
    """

    segment: int
    offset_um: int


@dataclass(frozen=True, slots=True)
class Use:
    """A piece of a roll that unwinds without a stop, from `from_um` to `to_um` of the roll.

    Parameters
    ----------
    wasted_um
        Of that, the first web, which the roll end before it wastes; 0 for the roll that begins the stretch.
    begins, ends
        Where its good web lies on the stretch.
    run_through_um
        Flagged splices left in it, from the roll's first metre.
    slit_from_um
        How wide the roll was, if it was slit down to the stretch's width.
    """

    roll: str
    from_um: int
    to_um: int
    wasted_um: int
    begins: Place
    ends: Place
    run_through_um: tuple[int, ...] = ()
    slit_from_um: int | None = None


class RestKind(StrEnum):
    """What becomes of a roll behind its last use: it ran to its end, goes back to the store, or is scrap."""

    RUN_OUT = "run out"
    STUB = "stub"
    SCRAP = "scrap"


@dataclass(frozen=True, slots=True)
class Rest:
    """A roll's web from `from_um` to its end."""

    roll: str
    kind: RestKind
    from_um: int
    to_um: int


@dataclass(frozen=True, slots=True)
class CutOut:
    """Web cut out of a roll before or between its uses: defects, and what is given up to end elsewhere."""

    roll: str
    from_um: int
    to_um: int


class CostKind(StrEnum):
    """What a choice of rolls pays for."""

    WEB = "web"
    ROLL_END = "roll end"
    CUT_OUT = "cut out"
    CORE = "core"
    SCRAP = "scrap"
    TRIM = "trim"
    OPENING = "opening"
    TAKING_BACK = "taking back"
    AGE = "age"


@dataclass(frozen=True, slots=True)
class RollCost:
    """Good web, what is cut out, left at the core or scrapped, and the strip cut off a wider roll, at the
    roll's price; roll ends with the web they waste, at the segment's; taking a rest back to the store.
    """

    kind: CostKind
    roll: str
    eur: Fraction


@dataclass(frozen=True, slots=True)
class RollChoice:
    """Rolls for a stretch, in order.

    `proven`: none costs less (amounts of money without a small common unit are compared to within 1e-6 €).
    """

    uses: tuple[Use, ...]
    cut_outs: tuple[CutOut, ...]
    rests: tuple[Rest, ...]
    costs: tuple[RollCost, ...]
    proven: bool

    @property
    def total_eur(self) -> Fraction:
        return sum((cost.eur for cost in self.costs), Fraction(0))

    @property
    def stub_cost(self) -> StubCost:
        """What the rolls cost besides their web and their splices."""
        return StubCost(
            cut_out_eur=self._paid(CostKind.CUT_OUT),
            core_eur=self._paid(CostKind.CORE),
            scrap_eur=self._paid(CostKind.SCRAP),
            trim_eur=self._paid(CostKind.TRIM),
            opening_eur=self._paid(CostKind.OPENING),
            taking_back_eur=self._paid(CostKind.TAKING_BACK),
            age_eur=self._paid(CostKind.AGE),
        )

    def _paid(self, kind: CostKind) -> Fraction:
        return sum((cost.eur for cost in self.costs if cost.kind is kind), Fraction(0))

    @property
    def roll_ends(self) -> int:
        """Splices made: those that were in a roll already are none."""
        return sum(1 for cost in self.costs if cost.kind is CostKind.ROLL_END)


@dataclass(frozen=True, slots=True)
class Shortage:
    """The rolls do not suffice.

    Parameters
    ----------
    missing_um
        The least web that, as further rolls without a flaw and in time, would make them suffice, with what
        roll ends of theirs waste.
    run, segment, needed_ms
        The first that lacks it, the others taking no more than they have to, and when it is needed.
    proven
        Whether less would not do.
    """

    missing_um: int
    run: int
    segment: int
    needed_ms: int
    proven: bool


def chosen(
    stretch: Stretch, rolls: Sequence[Usable], prices: StockRules, taken: Sequence[Taken], proven: bool
) -> RollChoice:
    """What pieces laid on a stretch are and cost.

    Raises
    ------
    ValueError
        Where a roll ends where none may, or one piece gives more than it has.
    """
    return _Account(stretch, rolls, prices, taken).choice(proven)


def crowded(stretch: Stretch, taken: Sequence[Taken]) -> frozenset[int]:
    """Numbers of the segments in which a customer reel has more splices than it may."""
    counts: Counter[tuple[int, int]] = Counter()
    for piece in taken:
        place = place_of(stretch, piece.from_um)
        segment = stretch.segments[place.segment]
        if segment.most_splices_a_reel is not None and 0 < place.offset_um < segment.length_um:
            reel = bisect_left(segment.reel_ends_um, place.offset_um)
            is_end = place.offset_um in segment.reel_ends_um[reel : reel + 1]
            counts[place.segment, reel] += not is_end
    return frozenset(
        segment
        for (segment, _), count in counts.items()
        if count > (stretch.segments[segment].most_splices_a_reel or 0)
    )


def place_of(stretch: Stretch, at_um: int) -> Place:
    """The place on a stretch `at_um` from its first metre."""
    ranges = list(enumerate(pairwise(stretch.bounds_um)))
    touching = [(idx, at_um - start) for idx, (start, stop) in ranges if start <= at_um <= stop]
    strips = [place for place in touching if stretch.segments[place[0]].kind is SegmentKind.STRIP]
    return Place(*(strips or touching)[0])


class _Account:
    """One answer, roll by roll."""

    def __init__(
        self, stretch: Stretch, rolls: Sequence[Usable], prices: StockRules, taken: Sequence[Taken]
    ) -> None:
        self._stretch = stretch
        self._rolls = rolls
        self._prices = prices
        self._taken = taken
        self._spots = roll_end_spots(stretch, counted_segments(stretch))
        self._uses: list[Use] = []
        self._cut_outs: list[CutOut] = []
        self._rests: list[Rest] = []
        self._costs: list[RollCost] = []

    def choice(self, proven: bool) -> RollChoice:
        for idx, pieces in groupby(self._taken, key=lambda piece: piece.usable):
            self._add_roll(self._rolls[idx], list(pieces))
        return RollChoice(
            tuple(self._uses), tuple(self._cut_outs), tuple(self._rests), tuple(self._costs), proven
        )

    def _add_roll(self, usable: Usable, pieces: list[Taken]) -> None:
        roll = usable.roll
        uses = list(self._roll_uses(usable, pieces))
        self._uses += uses
        self._add_cost(CostKind.TRIM, roll.roll, roll.trim_eur)
        self._add_cost(CostKind.OPENING, roll.roll, usable.open_eur)
        self._add_cost(CostKind.AGE, roll.roll, usable.age_eur)
        good_um = sum(piece.to_um - piece.from_um for piece in pieces)
        self._add_cost(CostKind.WEB, roll.roll, good_um * roll.eur_per_um)
        marks = [0, *(mark for use in uses for mark in (use.from_um, use.to_um))]
        for start, stop in zip(marks[::2], marks[1::2], strict=False):
            if start < stop:
                self._cut_outs.append(CutOut(roll.roll, start, stop))
                self._add_cost(CostKind.CUT_OUT, roll.roll, (stop - start) * roll.eur_per_um)
        self._add_rest(usable, uses[-1].to_um)

    def _roll_uses(self, usable: Usable, pieces: list[Taken]) -> Iterator[Use]:
        use: Use | None = None
        for piece in pieces:
            flawless = usable.pieces[piece.piece]
            if use is not None and piece.runs_through:
                to_um = flawless.from_um + piece.to_um - piece.from_um
                through_um = (*use.run_through_um, flawless.from_um)
                use = replace(use, to_um=to_um, ends=self._place(piece.to_um), run_through_um=through_um)
                continue
            if use is not None:
                yield use
            wasted_um = self._roll_end(usable, flawless, piece.from_um)
            to_um = flawless.from_um + wasted_um + piece.to_um - piece.from_um
            if to_um > flawless.to_um:
                raise ValueError(f"roll {usable.roll.roll}: {to_um} µm of {flawless.to_um} µm are used")
            use = Use(
                usable.roll.roll,
                flawless.from_um,
                to_um,
                wasted_um,
                self._place(piece.from_um),
                self._place(piece.to_um),
                slit_from_um=usable.roll.slit_from_um,
            )
        if use is not None:
            yield use

    def _roll_end(self, usable: Usable, piece: Piece, at_um: int) -> int:
        """Count the roll end with which a piece begins, if there is one; the web it wastes."""
        if at_um == 0 and piece.begins_free:
            return 0
        spot = start_spot(self._stretch)
        if at_um > 0:
            idx = spot_at(self._spots, at_um)
            if idx is None:
                raise ValueError(f"roll {usable.roll.roll}: no roll may end at {at_um} µm")
            spot = self._spots[idx]
        self._costs.append(RollCost(CostKind.ROLL_END, usable.roll.roll, spot.eur))
        return spot.waste_um

    def _add_rest(self, usable: Usable, from_um: int) -> None:
        roll = usable.roll
        rest_um = roll.length_um - from_um
        if rest_um == 0:
            return
        if from_um >= usable.pieces[-1].to_um:
            kind, cost = RestKind.RUN_OUT, CostKind.CORE
        elif rest_um < self._prices.least_stub_um:
            kind, cost = RestKind.SCRAP, CostKind.SCRAP
        else:
            self._rests.append(Rest(roll.roll, RestKind.STUB, from_um, roll.length_um))
            self._add_cost(CostKind.TAKING_BACK, roll.roll, self._prices.stub_eur)
            return
        self._rests.append(Rest(roll.roll, kind, from_um, roll.length_um))
        self._add_cost(cost, roll.roll, rest_um * roll.eur_per_um)

    def _add_cost(self, kind: CostKind, roll: str, eur: Fraction) -> None:
        if eur:
            self._costs.append(RollCost(kind, roll, eur))

    def _place(self, at_um: int) -> Place:
        return place_of(self._stretch, at_um)
