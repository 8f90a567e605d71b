"""What a choice of rolls costs, worked out again from its uses."""

from __future__ import annotations

from fractions import Fraction

from solver.problem import Problem
from solver.roll_choice import CostKind, RestKind, RollChoice
from solver.roll_plan import RollPlan
from solver.rolls import Roll
from solver.sequence import Stock
from solver.stub_cost import StubCost
from solver.weights import Weights
from tests.checker.complaints import differs
from tests.checker.prices import stock_eur_per_um, weighed_stock_eur_per_um
from tests.checker.rolls_slit import against_slitting
from tests.checker.rolls_splices import ends_of
from tests.checker.rolls_store import RollStore, rest_kind, uses_by_roll
from tests.checker.rolls_web import Laid, StretchWeb, in_run_um

DAY_MS = 86_400_000
_LOST = {RestKind.RUN_OUT: CostKind.CORE, RestKind.SCRAP: CostKind.SCRAP}

RollCosts = dict[tuple[CostKind, str], Fraction]
"""€ by kind and roll."""


def roll_cost_complaints(
    stretch: StretchWeb, choice: RollChoice, store: RollStore, weights: Weights
) -> list[str]:
    """Every part of what a choice costs, and how many roll ends it has."""
    tried = [
        _cost_complaints(stretch, choice, roll_costs(stretch, choice, store, weights, oldest_ms))
        for oldest_ms in oldest_to_count_from(stretch, choice, store)
    ]
    ends = ends_of(stretch, choice, store)
    complaints = differs(stretch.name, "number of roll ends", choice.roll_ends, len(ends))
    return min(tried, key=len) + complaints


def _cost_complaints(stretch: StretchWeb, choice: RollChoice, right: RollCosts) -> list[str]:
    said: RollCosts = {}
    for cost in choice.costs:
        _add(said, cost.kind, cost.roll, cost.eur)
    complaints = []
    for kind, roll_id in dict.fromkeys([*right, *said]):
        what = f"{kind} of roll {roll_id} in €"
        said_eur = said.get((kind, roll_id), Fraction(0))
        complaints += differs(stretch.name, what, said_eur, right.get((kind, roll_id), Fraction(0)))
    total_eur = sum(right.values(), Fraction(0))
    return complaints + differs(stretch.name, "rolls in €", choice.total_eur, total_eur)


def roll_costs(
    stretch: StretchWeb, choice: RollChoice, store: RollStore, weights: Weights, oldest_ms: int
) -> RollCosts:
    """Good web, web cut out, cores, scrap, trim, opening, taking back, age, and roll ends."""
    costs: RollCosts = {}
    for roll_id, uses in uses_by_roll(choice.uses).items():
        roll = store.rolls[roll_id]
        eur_per_um = stock_eur_per_um(store.problem, stretch.stock)
        begin_um, end_um = store.used_um.get(roll_id, 0), uses[-1].to_um
        laid_um = sum(use.to_um - use.from_um for use in uses)
        wasted_um = sum(use.wasted_um for use in uses)
        _add(costs, CostKind.WEB, roll_id, (laid_um - wasted_um) * eur_per_um)
        _add(costs, CostKind.CUT_OUT, roll_id, (end_um - begin_um - laid_um) * eur_per_um)
        lost = _LOST.get(rest_kind(roll, end_um, store.rules))
        if lost is not None:
            _add(costs, lost, roll_id, (roll.length_um - end_um) * eur_per_um)
        else:
            _add(costs, CostKind.TAKING_BACK, roll_id, store.rules.stub_eur)
        if not store.is_opened(roll):
            _add(costs, CostKind.OPENING, roll_id, store.rules.open_eur)
        _add(costs, CostKind.TRIM, roll_id, trim_eur(stretch, roll, store))
        _add(costs, CostKind.AGE, roll_id, age_eur(stretch, roll, oldest_ms, store))
    for laid in ends_of(stretch, choice, store):
        _add(costs, CostKind.ROLL_END, laid.use.roll, roll_end_eur(stretch, laid, store, weights))
    return costs


def trim_eur(stretch: StretchWeb, roll: Roll, store: RollStore) -> Fraction:
    """The strip cut off all of a roll that is slit for this stretch; one slit before has paid for it."""
    wide_um, narrow_um = store.stock_of(roll).width_um, stretch.stock.width_um
    strip = Stock(stretch.stock.substrate, wide_um - narrow_um)
    return roll.length_um * stock_eur_per_um(store.problem, strip)


def age_eur(stretch: StretchWeb, roll: Roll, oldest_ms: int, store: RollStore) -> Fraction:
    """By how many days it is younger than the oldest; of unknown age it is of today."""
    days = Fraction(max(0, (roll.received_ms or 0) - oldest_ms), DAY_MS)
    return days * store.rules.age_eur_per_day


def oldest_to_count_from(stretch: StretchWeb, choice: RollChoice, store: RollStore) -> tuple[int, ...]:
    """When the oldest roll that could be taken was received: the oldest of the stretch's own width.

    Where none of that width could be taken, it is the oldest of those that might be slit. Which of them
    other stretches do without nothing tells, so each that is as old as all that are taken may be it.
    """
    own = [roll for roll in store.of_stock(stretch.stock) if store.could_take(stretch, roll)]
    if own:
        return (min(roll.received_ms or 0 for roll in own),)
    taken = [store.rolls[roll_id].received_ms or 0 for roll_id in uses_by_roll(choice.uses)]
    wider = [
        roll.received_ms or 0
        for roll in store.rolls.values()
        if not any(against_slitting(stretch, roll, store)) and store.could_take(stretch, roll)
    ]
    return tuple(dict.fromkeys(at_ms for at_ms in wider if at_ms <= min(taken))) or (0,)


def stub_complaints(problem: Problem, plan: RollPlan) -> list[str]:
    """What the sequence is told to pay for its rolls is what their choices cost, part by part."""
    costs = [
        cost for each in plan.stretches if isinstance(each.choice, RollChoice) for cost in each.choice.costs
    ]

    def paid(kind: CostKind) -> Fraction:
        return sum((cost.eur for cost in costs if cost.kind is kind), Fraction(0))

    right = StubCost(
        cut_out_eur=paid(CostKind.CUT_OUT),
        core_eur=paid(CostKind.CORE),
        scrap_eur=paid(CostKind.SCRAP),
        trim_eur=paid(CostKind.TRIM),
        opening_eur=paid(CostKind.OPENING),
        taking_back_eur=paid(CostKind.TAKING_BACK),
        age_eur=paid(CostKind.AGE),
    )
    said = StubCost() if problem.chosen_rolls is None else problem.chosen_rolls.cost
    return differs("rolls", "cost of stubs", said, right)


def roll_end_eur(stretch: StretchWeb, laid: Laid, store: RollStore, weights: Weights) -> Fraction:
    """Metres × price + minutes × rate, as the goal weighs them; of the splice alone on a strip, and in what a
    line holds before its first run.
    """
    number = next(piece.run for piece in stretch.pieces if piece.to_um > laid.from_um)
    run = stretch.runs[max(0, number - 1)]
    in_run = run.changeover is None or in_run_um(stretch.line_web, number, laid.from_um) > 0
    outcome = (run.roll_end if number and in_run else run.strip_end).outcome
    eur = outcome.waste_um * weighed_stock_eur_per_um(store.problem, weights, stretch.stock)
    return eur + outcome.duration_ms * weights.changeover * run.line.eur_per_ms


def _add(costs: RollCosts, kind: CostKind, roll_id: str, eur: Fraction) -> None:
    costs[kind, roll_id] = costs.get((kind, roll_id), Fraction(0)) + eur
