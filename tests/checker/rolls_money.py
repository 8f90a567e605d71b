"""What a choice of rolls costs, worked out again from its uses."""

from __future__ import annotations

from fractions import Fraction

from solver.roll_choice import CostKind, RestKind, RollChoice
from solver.rolls import Roll
from solver.weights import Weights
from tests.checker.complaints import differs
from tests.checker.prices import stock_eur_per_um, weighed_stock_eur_per_um
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
    right = roll_costs(stretch, choice, store, weights)
    said: RollCosts = {}
    for cost in choice.costs:
        _add(said, cost.kind, cost.roll, cost.eur)
    complaints = []
    for kind, roll_id in dict.fromkeys([*right, *said]):
        what = f"{kind} of roll {roll_id} in €"
        said_eur = said.get((kind, roll_id), Fraction(0))
        complaints += differs(stretch.name, what, said_eur, right.get((kind, roll_id), Fraction(0)))
    total_eur = sum(right.values(), Fraction(0))
    complaints += differs(stretch.name, "rolls in €", choice.total_eur, total_eur)
    ends = ends_of(stretch, choice, store)
    return complaints + differs(stretch.name, "number of roll ends", choice.roll_ends, len(ends))


def roll_costs(stretch: StretchWeb, choice: RollChoice, store: RollStore, weights: Weights) -> RollCosts:
    """Good web, what is cut out, lost at the core or scrapped, opening, taking back, age, and roll ends."""
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
        _add(costs, CostKind.AGE, roll_id, age_eur(stretch, roll, store))
    for laid in ends_of(stretch, choice, store):
        _add(costs, CostKind.ROLL_END, laid.use.roll, roll_end_eur(stretch, laid, store, weights))
    return costs


def age_eur(stretch: StretchWeb, roll: Roll, store: RollStore) -> Fraction:
    """By how many days it is younger than the oldest that could be taken; of unknown age it is of today."""
    received_ms = [
        other.received_ms or 0 for other in store.by_stock[stretch.stock] if store.could_take(stretch, other)
    ]
    days = Fraction((roll.received_ms or 0) - min(received_ms, default=0), DAY_MS)
    return days * store.rules.age_eur_per_day


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
