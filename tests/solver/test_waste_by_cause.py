"""Waste by cause: the account's money and the measures' metres, and what is lost of rolls besides."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from solver.measures import measure
from solver.roll_choice import CostKind, RollChoice
from solver.waste_by_cause import waste_by_cause
from solver.weights import Weights
from tests.builders.planned_rolls import planned_rolls
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
LOST = (CostKind.CUT_OUT, CostKind.CORE, CostKind.SCRAP, CostKind.TRIM)


@examples(10)
@given(SEEDS, st.integers(1, 3))
def test_waste_of_the_web_costs_what_the_account_says(seed: int, lines: int) -> None:
    problem, plan = planned_rolls(seed, lines)
    waste = [each for each in waste_by_cause(problem, plan) if not each.is_of_rolls]
    eur = sum((each.eur for each in waste if not each.is_spoilage), Fraction(0))
    assert eur == plan.sequence.cost.waste_eur
    by_kind: Counter[object] = Counter()
    for each in waste:
        by_kind[each.kind, each.stock] += each.length_um
    measured = measure(problem, plan.sequence, Weights()).waste
    assert by_kind == {(share.kind, share.stock): share.length_um for share in measured}


@examples(10)
@given(SEEDS, st.integers(1, 3))
def test_what_is_lost_of_rolls_costs_what_the_choice_says(seed: int, lines: int) -> None:
    problem, plan = planned_rolls(seed, lines)
    if not plan.settled:
        return
    waste = [each for each in waste_by_cause(problem, plan) if each.is_of_rolls]
    lost = sum(
        (
            cost.eur
            for each in plan.stretches
            if isinstance(each.choice, RollChoice)
            for cost in each.choice.costs
            if cost.kind in LOST
        ),
        Fraction(0),
    )
    assert sum((each.eur for each in waste), Fraction(0)) == lost
