"""The cheapest rolls of an order among those chosen in several ways.

Rolls are chosen stretch by stretch, each as if nothing came behind it. What the roll ends of a stretch delay,
and which rolls it leaves to later ones, may make the whole dearer than the rule of thumb is; so that is tried
as well, and where jobs become later than by usual rolls, a choice that knows what delays cost.
"""

from __future__ import annotations

from dataclasses import dataclass

from solver.account import account
from solver.delays import delaying_stretches
from solver.problem import Problem
from solver.roll_plan import RollPlan, with_rolls
from solver.sequence import Order, Sequence
from solver.stock import choose_oldest
from solver.weights import Weights


@dataclass(frozen=True, slots=True)
class RolledSequence:
    """A sequence, its rolls, and the problem with these rolls, under which it costs what it is said to."""

    problem: Problem
    plan: RollPlan

    @property
    def sequence(self) -> Sequence:
        return self.plan.sequence


def cheapest_rolls(problem: Problem, order: Order, weights: Weights) -> tuple[Problem, RollPlan]:
    """The rolls of an order, never dearer than the oldest first, in the form of `with_rolls`; of equal ones
    those of the way tried first: the least money for every stretch. None where no stock is followed by roll.
    """
    least = with_rolls(problem, order, weights)
    if not problem.plant.has_rolls:
        return least
    tried = [least, oldest_first_rolls(problem, order, weights)]
    by_usual_rolls = account(problem, order, weights)
    if least[1].sequence.cost.late_eur > by_usual_rolls.cost.late_eur:
        tried.append(with_rolls(problem, order, weights, stretches=delaying_stretches))
    return min(tried, key=lambda found: found[1].rank)


def oldest_first_rolls(problem: Problem, order: Order, weights: Weights) -> tuple[Problem, RollPlan]:
    """The rolls of an order by the rule of thumb."""
    return with_rolls(problem, order, weights, choose_oldest)
