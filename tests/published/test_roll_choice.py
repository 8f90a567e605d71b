"""Rolls chosen for published figures.

1,240 m from rolls of 500 m: own example, by exact arithmetic. The knapsack: problem P01 of the public 0/1
knapsack test data of Florida State University (10 items, capacity 165, optimum 309, of weight 165). What is
left out of a knapsack covers the rest of the weight at the least value, so rolls as long as the weights, each
at its item's value, cover 537 − 165 at 679 − 309.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from solver.roll_candidates import Candidate
from solver.roll_choice import RestKind, RollChoice
from solver.rolls import StockRules
from solver.stock import choose_rolls
from solver.stretches import Segment, SegmentKind, Stretch

M = 1_000_000
WEIGHTS = (23, 31, 29, 44, 53, 38, 63, 85, 89, 82)
VALUES = (92, 57, 49, 68, 60, 43, 67, 84, 87, 72)
CAPACITY = 165
OPTIMUM = 309
PACKED = {0, 1, 2, 3, 5}


def one_version(length_um: int) -> Stretch:
    return Stretch((Segment(SegmentKind.PRINT, length_um, 0, "job", 0, 0, Fraction(0), "only"),))


def test_1240_m_from_rolls_of_500_m_take_3_rolls_and_2_splices_and_leave_260_m() -> None:
    rolls = [Candidate.whole(f"roll {number}", 500 * M, Fraction(1, 5 * M)) for number in range(5)]
    prices = StockRules(least_stub_um=50 * M, open_eur=Fraction(1))
    found = choose_rolls(one_version(1_240 * M), rolls, prices)
    assert isinstance(found, RollChoice)
    assert (len(found.uses), found.roll_ends, found.proven) == (3, 2, True)
    assert sum(rest.to_um - rest.from_um for rest in found.rests if rest.kind is RestKind.STUB) == 260 * M


def test_rolls_that_cover_what_a_knapsack_leaves_out_cost_what_it_leaves_out() -> None:
    least = min(VALUES)
    rolls = [
        replace(Candidate.whole(f"{item}", weight, Fraction(0)), age_days=Fraction(-value))
        for item, (weight, value) in enumerate(zip(WEIGHTS, VALUES, strict=True))
    ]
    prices = StockRules(open_eur=Fraction(least), age_eur_per_day=Fraction(1))
    found = choose_rolls(one_version(sum(WEIGHTS) - CAPACITY), rolls, prices)
    assert isinstance(found, RollChoice)
    assert found.proven
    assert found.total_eur == sum(VALUES) - OPTIMUM
    assert {use.roll for use in found.uses} == {f"{item}" for item in range(10) if item not in PACKED}
