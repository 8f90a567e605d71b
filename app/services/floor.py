"""What an order means to the floor: what becomes of every metre of web and roll, and what the crews do."""

from __future__ import annotations

from app.contracts.orders import RunOrder
from app.contracts.sequences import CostedPlan, Goal
from app.translation.floor import FloorOrder
from app.translation.reasons import order_of
from app.translation.solving import Question


def papers(question: Question, order: RunOrder, goal: Goal) -> FloorOrder:
    """An order with the rolls that cost least for it; its ledger and its run sheets are made when asked for.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or the order cannot be run.
    """
    return FloorOrder.of(question, order, goal)


def papers_of_plan(question: Question, costed_plan: CostedPlan) -> FloorOrder:
    """The same of a plan, or of an order costed, of the queue in question.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    """
    return papers(question, order_of(costed_plan.sequence), costed_plan.sequence.goal)
