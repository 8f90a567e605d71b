"""What chosen rolls cost besides their splices: a part of the cost under every goal, told by its parts."""

from __future__ import annotations

from dataclasses import fields, replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.explain_difference import Cause, CostItem, cost_items, difference
from solver.problem import Problem
from solver.roll_choice import RestKind, RollChoice
from solver.roll_ledger import RollPart, roll_ledger
from solver.roll_plan import with_rolls
from solver.search.solve import Progress, solve
from solver.search.stop import Stop
from solver.sequence import ChosenRolls, Order, Stock
from solver.stub_cost import StubCost
from solver.weights import GOALS, Weights
from tests.builders.days import DayShape, drawn_day, drawn_order
from tests.builders.drawn_rolls import RULES, with_drawn_rolls
from tests.builders.worked import worked_job, worked_line, worked_problem
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))
STUBS = StubCost(*(Fraction(number, 7) for number in range(1, 7)))


def rolled_day(seed: int, order_seed: int) -> tuple[Problem, Order]:
    """A day with rolls for one order, and an order."""
    problem = drawn_day(seed, DayShape(jobs=6, lines=2, limited_stock=False))
    rolled = with_drawn_rolls(problem, account(problem, drawn_order(problem, seed), Weights()), seed)
    return rolled, drawn_order(problem, order_seed)


def at(eur: StubCost, problem: Problem) -> Problem:
    """A problem with rolls that cost so much and end where usual ones do."""
    return replace(problem, chosen_rolls=ChosenRolls({}, eur))


def test_the_parts_add_up() -> None:
    assert STUBS.weighed_eur == 3
    assert (STUBS + STUBS).weighed_eur == 6
    assert STUBS.total_eur == 3 - STUBS.age_eur
    assert (STUBS + STUBS).age_eur == Fraction(12, 7)
    assert StubCost().total_eur == 0


@examples(20)
@given(SEEDS, GOAL_NAMES)
def test_they_count_once_under_every_goal_and_age_in_the_weighed_cost_alone(seed: int, goal: str) -> None:
    problem = drawn_day(seed, DayShape(jobs=6, lines=2))
    order = drawn_order(problem, seed)
    without = account(problem, order, GOALS[goal])
    sequence = account(at(STUBS, problem), order, GOALS[goal])
    assert without.cost.stubs is None
    assert without.cost.stubs_eur == 0
    assert sequence.cost.stubs == STUBS
    assert sequence.cost.stubs_eur == STUBS.total_eur
    assert sequence.cost.total_eur == without.cost.total_eur + STUBS.total_eur
    assert sequence.cost.controllable_eur == without.cost.controllable_eur + STUBS.total_eur
    assert sequence.weighed_eur == without.weighed_eur + 3
    assert sequence.lines == without.lines


@examples(20)
@given(SEEDS, GOAL_NAMES)
def test_they_are_what_became_of_the_rolls(seed: int, goal: str) -> None:
    """Every metre that is lost without running, at its price, every roll opened and every rest taken back."""
    problem, order = rolled_day(seed, seed)
    with_ends, plan = with_rolls(problem, order, GOALS[goal])
    if not plan.settled:
        return
    lost_eur = dict.fromkeys((RollPart.CUT_OUT, RollPart.CORE_TAIL, RollPart.SCRAP), Fraction(0))
    stocks = {roll.id: substrate.code for substrate, _, roll in problem.plant.rolls}
    for pieces in roll_ledger(with_ends, plan).values():
        for piece in pieces:
            if piece.part in lost_eur:
                stock = Stock(stocks[piece.roll], piece.width_um)
                lost_eur[piece.part] += piece.length_um * problem.eur_per_um(stock)
    taken_back = sum(
        rest.kind is RestKind.STUB
        for each in plan.stretches
        if isinstance(each.choice, RollChoice)
        for rest in each.choice.rests
    )
    stubs = plan.sequence.cost.stubs
    assert stubs is not None
    assert (stubs.cut_out_eur, stubs.core_eur, stubs.scrap_eur) == tuple(lost_eur.values())
    assert stubs.opening_eur == len(plan.opened) * RULES.open_eur
    assert stubs.taking_back_eur == taken_back * RULES.stub_eur
    assert stubs.trim_eur == 0
    assert stubs.age_eur >= 0


def test_without_rolls_in_the_plant_none_are_chosen() -> None:
    problem = worked_problem(worked_line("H"), worked_job("job"))
    with_ends, plan = with_rolls(problem, as_entered(problem), Weights())
    assert with_ends is problem
    assert (plan.settled, plan.sequence.cost.stubs) == (True, None)


@examples(15)
@given(SEEDS, GOAL_NAMES)
def test_the_difference_of_two_orders_tells_their_rolls_apart_and_adds_up(seed: int, goal: str) -> None:
    weights = GOALS[goal]
    here, there = (with_rolls(*rolled_day(seed, seed + other), weights) for other in (0, 1))
    one, other = here[1].sequence, there[1].sequence
    for problem, sequence in ((here[0], one), (there[0], other)):
        items = cost_items(problem, sequence, weights)
        assert items[CostItem(Cause.STUBS)].eur == sequence.cost.stubs_eur
        assert sum((amount.eur for amount in items.values()), Fraction(0)) == sequence.cost.total_eur
        assert sum((amount.weighed_eur for amount in items.values()), Fraction(0)) == sequence.weighed_eur
    told = difference(here[0], one, other, weights)
    assert sum((amount.eur for _, amount in told.parts), Fraction(0)) == told.total_eur
    assert sum((amount.weighed_eur for _, amount in told.parts), Fraction(0)) == told.weighed_eur


def test_a_search_reports_its_cost_and_its_bound_with_them() -> None:
    """Of one line, and of two."""
    short = worked_problem(worked_line("H"), worked_job("a"), worked_job("b", "die"), worked_job("c", "long"))
    for problem in (short, drawn_day(3, DayShape(jobs=8, lines=2))):
        told: list[Progress] = []
        without = solve(problem, Weights(), Stop(work=300), seed=1, threads=1)
        found = solve(at(STUBS, problem), Weights(), Stop(work=300), 1, told.append, threads=1)
        (plain,), (sequence,) = without.sequences, found.sequences
        assert sequence.order == plain.order
        assert sequence.weighed_eur == plain.weighed_eur + 3
        assert told[-1].best_eur == pytest.approx(float(sequence.weighed_eur))
        assert without.bound is not None
        assert found.bound is not None
        assert float(found.bound) == pytest.approx(float(without.bound) + 3)
        assert told[-1].bound_eur == pytest.approx(float(found.bound))
        assert found.gap == pytest.approx(float(sequence.weighed_eur / found.bound - 1))


def test_every_part_of_the_stubs_is_money_of_its_own() -> None:
    names = [part.name for part in fields(StubCost)]
    assert all(StubCost(**{name: Fraction(1)}).weighed_eur == 1 for name in names)
