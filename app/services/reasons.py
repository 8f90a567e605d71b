"""Why a plan is as it is, and what one order costs more than another."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.reasons import Difference, Reasons
from app.contracts.sequences import CostedPlan, Goal
from app.translation.reasons import compared, explained
from app.translation.solving import Question


def explain(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    costed_plan: CostedPlan,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> Reasons:
    """Why every run of a plan stands where it does, why jobs are late, and what baselines cost more.

    Parameters
    ----------
    costed_plan
        The plan, or the order costed, of these jobs on this plant from this start under these locks, while
        this sequence is in force.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    """
    question = Question.of(plant, jobs, start, locks, in_force)
    name = "this order" if costed_plan.search is None else "this plan"
    return explained(question, costed_plan.sequence.goal, costed_plan.sequence, name)


def compare(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    orders: tuple[tuple[str, RunOrder], tuple[str, RunOrder]],
    goal: Goal,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> Difference:
    """What the first of two named orders costs more than the second, by cause.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or an order cannot be run.
    """
    (name, order), (other, other_order) = orders
    question = Question.of(plant, jobs, start, locks, in_force)
    return compared(question, goal, name, order, other, other_order)
