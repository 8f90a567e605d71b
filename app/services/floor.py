"""What an order means to the floor: what becomes of every metre of web and roll, and what the crews do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import CostedPlan, Goal
from app.translation.floor import FloorOrder
from app.translation.reasons import order_of
from app.translation.solving import Question


def papers(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    order: RunOrder,
    goal: Goal,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> FloorOrder:
    """An order with the rolls that cost least for it; its ledger and its run sheets are made when asked for.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or the order cannot be run.
    """
    return FloorOrder.of(Question.of(plant, jobs, start, locks, in_force), order, goal)


def papers_of_plan(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    costed_plan: CostedPlan,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> FloorOrder:
    """The same of a plan, or of an order costed, of these jobs on this plant from this start.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    """
    order, goal = order_of(costed_plan.sequence), costed_plan.sequence.goal
    return papers(plant, jobs, start, order, goal, locks=locks, in_force=in_force)
