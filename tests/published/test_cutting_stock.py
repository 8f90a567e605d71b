"""Rolls as bins: jobs that take no splice, cut from rolls of one length.

Items and optimum: the bin packing example `bpp.mod` of the GNU Linear Programming Kit (Debian's `glpk-doc`
carries it): weights 50, 60, 30, 70, 50, 40 in bins of 100, "the optimal solution is 3 bins". A roll serves
jobs that follow each other, so it takes the right order to reach it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import permutations

from solver.reels import SpliceRule
from solver.roll_candidates import Candidate
from solver.roll_choice import RollChoice
from solver.rolls import StockRules
from solver.stock import choose_rolls
from solver.stretches import Segment, SegmentKind, Stretch

M = 1_000_000
ITEMS = (50, 60, 30, 70, 50, 40)
BIN = 100
OPTIMUM = 3


def test_the_best_order_takes_as_many_rolls_as_the_optimum_has_bins() -> None:
    found = {order: rolls_taken(order) for order in set(permutations(ITEMS))}
    assert min(found.values()) == OPTIMUM
    assert found[60, 40, 70, 30, 50, 50] == OPTIMUM


def test_rolls_in_the_order_of_the_list_are_one_more() -> None:
    """50 | 60 30 | 70 | 50 40: what follows never fits, and a roll that was left is not taken up again."""
    assert rolls_taken(ITEMS) == OPTIMUM + 1


def rolls_taken(lengths_m: Sequence[int]) -> int:
    rolls = [Candidate.whole(f"roll {number}", BIN * M, Fraction(0)) for number in range(len(ITEMS))]
    choice = choose_rolls(Stretch(tuple(_segments(lengths_m))), rolls, StockRules(open_eur=Fraction(1)))
    assert isinstance(choice, RollChoice)
    assert choice.proven
    assert choice.roll_ends == len(choice.uses) - 1
    return len(choice.uses)


def _segments(lengths_m: Sequence[int]) -> Iterator[Segment]:
    """Every job behind a strip without length, the only place where a roll may end."""
    for run, length_m in enumerate(lengths_m, start=1):
        job = f"job {run}"
        yield Segment(SegmentKind.STRIP, 0, run, job, 0, 0, Fraction(0))
        yield Segment(
            SegmentKind.PRINT, length_m * M, run, job, 0, 0, Fraction(0), "only", splice_rule=SpliceRule.NEVER
        )
