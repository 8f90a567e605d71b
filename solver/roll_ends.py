"""Where on a stretch a roll may end, and what it costs there."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from solver.reels import SpliceRule
from solver.stretches import Segment, SegmentKind, Stretch


@dataclass(frozen=True, slots=True)
class Spot:
    """A part of the stretch, ends included, in which every roll end is allowed and costs the same.

    Parameters
    ----------
    waste_um, eur
        Web of the incoming roll that is wasted, and money.
    most
        Splices it may have: it lies in a customer reel. None for any number.
    """

    first_um: int
    last_um: int
    waste_um: int
    eur: Fraction
    most: int | None = None


def counted_segments(stretch: Stretch) -> frozenset[int]:
    """Versions with a largest number of splices a reel, above none."""
    return frozenset(idx for idx, segment in enumerate(stretch.segments) if segment.most_splices_a_reel)


def roll_end_spots(stretch: Stretch, counted: frozenset[int]) -> tuple[Spot, ...]:
    """Where rolls may end, in web order, no place in two of them; not the stretch's ends.

    A strip's ends belong to the strip. Places of one price that touch are one spot, but for those in customer
    reels: they are one spot a reel in segments that are `counted`; in other versions that take some splices a
    reel these are not looked at.
    """
    spots: list[Spot] = []
    length_um = stretch.length_um
    for idx, (segment, (start, stop)) in enumerate(
        zip(stretch.segments, pairwise(stretch.bounds_um), strict=True)
    ):
        behind = stretch.segments[idx + 1] if idx + 1 < len(stretch.segments) else None
        for spot in _segment_spots(segment, start, stop, behind, idx in counted):
            first_um = max(spot.first_um, spots[-1].last_um + 1 if spots else 1)
            last_um = min(spot.last_um, length_um - 1)
            if first_um <= last_um:
                _append(spots, replace(spot, first_um=first_um, last_um=last_um))
    return tuple(spots)


def spot_at(spots: tuple[Spot, ...], at_um: int) -> int | None:
    """The number of the spot of a roll end at this place; None where no roll may end."""
    idx = bisect_left(spots, at_um, key=lambda spot: spot.last_um)
    return idx if idx < len(spots) and spots[idx].first_um <= at_um else None


def start_spot(stretch: Stretch) -> Spot:
    """What it costs to take another roll than the mounted one at the stretch's first metre."""
    first = stretch.segments[0]
    return Spot(0, 0, first.roll_end_um, first.roll_end_eur)


def _segment_spots(
    segment: Segment, start: int, stop: int, behind: Segment | None, is_counted: bool
) -> Iterator[Spot]:
    whole = Spot(start, stop, segment.roll_end_um, segment.roll_end_eur)
    if segment.kind is SegmentKind.STRIP:
        yield whole
        return
    if segment.splice_rule is SpliceRule.ANYWHERE:
        inside = replace(whole, first_um=start + 1, last_um=stop - 1)
        in_reels = segment.most_splices_a_reel == 0 or is_counted
        yield from _reel_spots(segment, inside) if in_reels else [inside]
    if behind is not None and behind.kind is SegmentKind.PRINT and _may_part(segment, behind):
        yield replace(whole, first_um=stop)


def _may_part(segment: Segment, behind: Segment) -> bool:
    """Whether a roll may end just between two versions: not in a job that takes no splice."""
    return segment.job != behind.job or SpliceRule.NEVER not in (segment.splice_rule, behind.splice_rule)


def _reel_spots(segment: Segment, inside: Spot) -> Iterator[Spot]:
    """A version's web reel by reel, the places between two reels apart."""
    most = segment.most_splices_a_reel
    start_um = inside.first_um - 1
    ends_um = [start_um + end_um for end_um in segment.reel_ends_um]
    for before_um, end_um in pairwise((start_um, *ends_um, inside.last_um + 1)):
        if most and before_um + 1 < end_um:
            yield replace(inside, first_um=before_um + 1, last_um=end_um - 1, most=most)
        if end_um <= inside.last_um:
            yield replace(inside, first_um=end_um, last_um=end_um)


def _append(spots: list[Spot], spot: Spot) -> None:
    before = spots[-1] if spots else None
    if (
        before is not None
        and before.most is spot.most is None
        and before.last_um + 1 == spot.first_um
        and (before.waste_um, before.eur) == (spot.waste_um, spot.eur)
    ):
        spots[-1] = replace(before, last_um=spot.last_um)
    else:
        spots.append(spot)
