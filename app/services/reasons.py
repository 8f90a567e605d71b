"""Why a plan is as it is, and what one order costs more than another."""

from __future__ import annotations

from app.contracts.orders import RunOrder
from app.contracts.reasons import Difference, Reasons
from app.contracts.sequences import CostedPlan, Goal
from app.translation.reasons import compared, explained
from app.translation.solving import Question


def explain(question: Question, costed_plan: CostedPlan) -> Reasons:
    """Why every run of a plan stands where it does, why jobs are late, and what baselines cost more.

    `costed_plan` is the plan, or the order costed, of the queue in question.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    """
    name = "this order" if costed_plan.search is None else "this plan"
    return explained(question, costed_plan.sequence.goal, costed_plan.sequence, name)


def compare(
    question: Question, orders: tuple[tuple[str, RunOrder], tuple[str, RunOrder]], goal: Goal
) -> Difference:
    """What the first of two named orders costs more than the second, by cause.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or an order cannot be run.
    """
    (name, order), (other, other_order) = orders
    return compared(question, goal, name, order, other, other_order)
