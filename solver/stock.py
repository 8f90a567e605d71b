"""Which rolls a stretch takes, in which order, and where each is left: for the least money."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from solver.oldest_first import oldest_first
from solver.roll_candidates import Candidate, Usable, usable_rolls
from solver.roll_choice import RollChoice, Shortage, Taken, chosen, crowded
from solver.roll_ends import counted_segments
from solver.roll_search import Answer, RollSearch
from solver.rolls import StockRules
from solver.stretches import Stretch

MOST_GROWN = 100_000
"""Beginnings grown for a stretch: about a second."""
SURELY_PROVED = 12
"""With so many candidates the cheapest is proved, and the search may take longer."""
MOST_GROWN_FOR_PROOF = 10_000_000
FEW_REELS = 3
"""So few reels of a version are counted from the beginning."""
MOST_MISSING = 3
"""Rolls that what is missing comes as, at most."""


def choose_rolls(
    stretch: Stretch,
    candidates: Sequence[Candidate],
    prices: StockRules | None = None,
    most_grown: int | None = None,
) -> RollChoice | Shortage:
    """The cheapest rolls for a stretch, never dearer than the oldest first; or what is missing.

    A roll is on the unwind once in a stretch: what is left of it is not taken up again there. A flaw may be
    cut out together with what is before it, so that the roll ends at a better place. A mounted roll is taken
    first or not at all; where another is taken first, that is a roll end at the stretch's first metre.

    Parameters
    ----------
    most_grown
        How much may be searched; None for about a second, longer with up to `SURELY_PROVED` candidates.

    Raises
    ------
    ValueError
        Where a roll is named twice or two are mounted.
    """
    prices = prices or StockRules()
    rolls = usable_rolls(stretch, candidates, prices)
    if most_grown is None:
        most_grown = MOST_GROWN_FOR_PROOF if len(rolls) <= SURELY_PROVED else MOST_GROWN
    thumb = oldest_first(stretch, rolls)
    by_thumb = None if thumb is None else chosen(stretch, rolls, prices, thumb, False)
    answer = _cheapest(stretch, rolls, prices, None if by_thumb is None else by_thumb.total_eur, most_grown)
    if answer.taken is not None:
        return chosen(stretch, rolls, prices, answer.taken, answer.proven)
    if by_thumb is not None:
        return replace(by_thumb, proven=answer.proven)
    return _shortage(stretch, candidates, prices, answer.proven, most_grown)


def choose_oldest(
    stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules, most_grown: int | None = None
) -> RollChoice | Shortage:
    """The oldest rolls first; where that leads to no end, what `choose_rolls` finds."""
    rolls = usable_rolls(stretch, candidates, prices)
    taken = oldest_first(stretch, rolls)
    if taken is None:
        return choose_rolls(stretch, candidates, prices, most_grown)
    return chosen(stretch, rolls, prices, taken, proven=False)


def _cheapest(
    stretch: Stretch,
    rolls: Sequence[Usable],
    prices: StockRules,
    upper_eur: Fraction | None,
    most_grown: int,
) -> Answer:
    """The cheapest laying below a cost. Where there are many reels, splices are counted reel by reel only
    once there turn out too many: that seldom happens, and the cheapest without counting is the cheapest if it
    keeps the rule.
    """
    counted = frozenset(
        idx
        for idx in counted_segments(stretch)
        if stretch.segments[idx].length_um <= FEW_REELS * (stretch.segments[idx].reel_um or stretch.length_um)
    )
    while True:
        answer = RollSearch(stretch, rolls, prices, counted).cheapest(upper_eur, most_grown)
        too_many = frozenset() if answer.taken is None else crowded(stretch, answer.taken)
        if not too_many:
            return answer
        counted |= too_many


def _shortage(
    stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules, proven: bool, most_grown: int
) -> RollChoice | Shortage:
    """What is missing: web for the first segment that cannot be reached with all before it, and in all what
    further rolls give at least. (A choice, where only the search for the cheapest had found none.)
    """
    found = _least_missing(stretch, candidates, prices, most_grown)
    rolls, answer = found
    if answer.taken is None:
        raise ValueError("a stretch for which endless rolls do not suffice")
    missing_um = sum(
        use.to_um - use.from_um
        for use in chosen(stretch, rolls, prices, answer.taken, False).uses
        if use.roll.startswith(_MISSING)
    )
    if missing_um == 0:
        own = usable_rolls(stretch, candidates, prices)
        return chosen(stretch, own, prices, _renumbered(rolls, own, answer.taken), False)
    segment_idx = _first_lacking(stretch, candidates, prices, most_grown)
    segment = stretch.segments[segment_idx]
    return Shortage(missing_um, segment.run, segment_idx, segment.needed_ms, proven and answer.proven)


_MISSING = "\0missing "
"""Begins the names of the rolls that are imagined: no roll is called so."""


def _least_missing(
    stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules, most_grown: int
) -> tuple[tuple[Usable, ...], Answer]:
    """Endless rolls beside the others, of which only their web costs anything."""
    free = [_free(candidate) for candidate in candidates]
    waste_um = max(segment.roll_end_um for segment in stretch.segments)
    endless_um = stretch.length_um + waste_um + prices.core_tail_um + 1
    needed_ms = min(segment.needed_ms for segment in stretch.segments)
    missing = [
        replace(Candidate.whole(f"{_MISSING}{number}", endless_um, Fraction(1)), available_ms=needed_ms)
        for number in range(MOST_MISSING)
    ]
    tail_alone = StockRules(core_tail_um=prices.core_tail_um)
    unpriced = _unpriced(stretch)
    rolls = usable_rolls(unpriced, [*missing, *free], tail_alone)
    return rolls, _cheapest(unpriced, rolls, tail_alone, None, most_grown)


def _first_lacking(
    stretch: Stretch, candidates: Sequence[Candidate], prices: StockRules, most_grown: int
) -> int:
    """The first segment up to whose end the rolls do not suffice."""
    free = [_free(candidate) for candidate in candidates]
    tail_alone = StockRules(core_tail_um=prices.core_tail_um)
    enough, lacking = 0, len(stretch.segments)
    while lacking - enough > 1:
        upto = (enough + lacking) // 2
        if not any(segment.length_um for segment in stretch.segments[:upto]):
            enough = upto
            continue
        part = _unpriced(Stretch(stretch.segments[:upto]))
        rolls = usable_rolls(part, free, tail_alone)
        if _cheapest(part, rolls, tail_alone, None, most_grown).taken is None:
            lacking = upto
        else:
            enough = upto
    return lacking - 1


def _free(candidate: Candidate) -> Candidate:
    return replace(candidate, eur_per_um=Fraction(0), trim_eur=Fraction(0))


def _unpriced(stretch: Stretch) -> Stretch:
    return Stretch(tuple(replace(segment, roll_end_eur=Fraction(0)) for segment in stretch.segments))


def _renumbered(rolls: Sequence[Usable], own: Sequence[Usable], taken: Sequence[Taken]) -> tuple[Taken, ...]:
    numbers = {usable.roll.roll: idx for idx, usable in enumerate(own)}
    return tuple(replace(piece, usable=numbers[rolls[piece.usable].roll.roll]) for piece in taken)
