"""Order a queue, cost an order, look whether a queue is ready."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.readiness import Readiness
from app.contracts.sequences import CostedPlan, Goal, Progress
from app.errors import NothingCanRun
from app.translation.solving import Limits, Question


def plan(
    question: Question,
    goal: Goal,
    *,
    seconds: float | None = None,
    work: int | None = None,
    seed: int = 0,
    alternatives: int = 0,
    cancelled: Callable[[], bool] = lambda: False,
    on_progress: Callable[[Progress], None] | None = None,
    on_compile: Callable[[], None] = lambda: None,
    on_incumbent: Callable[[RunOrder], None] | None = None,
) -> CostedPlan:
    """The best order found for a queue.

    Parameters
    ----------
    seconds, work
        When the search ends: after so many seconds, after so many sequences costed or changes tried;
        the first reached. At least one must be given.
    alternatives
        How many sequences, 8 at most, are to stand beside the best that trade metres, minutes and lateness
        against it; fewer where there are no more worth a choice. Looking for them takes a part of the limits.
    cancelled
        Asked now and then; a true answer ends the search, which gives what it has.
    on_incumbent
        Told the best order so far whenever it is another one: `cost` takes it as it is.
    on_compile
        Told where the search has to be compiled first, which it has once on a machine. The time limit
        begins behind it.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or locks each other.
    NothingCanRun
        Where no job can be placed.
    ValueError
        Where so many alternatives are not looked for.
    """
    limits = Limits(seconds, work, cancelled)
    return _running(question.plan(goal, limits, seed, on_progress, on_compile, alternatives, on_incumbent))


def cost(question: Question, order: RunOrder, goal: Goal) -> CostedPlan:
    """The exact cost of a given order, the locks it does not keep, and the runs it moves of the sequence in
    force; the goal decides only how changeovers are split into stops.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or the order cannot be run.
    NothingCanRun
        Where no job of the order can be placed.
    """
    return _running(question.cost(order, goal))


def check(question: Question) -> Readiness:
    """What is not ready or cannot run, and why, whatever is fixed or in force.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    """
    return replace(question, locks=(), in_force=None).readiness()


def plan_start(plant: Plant, asked: datetime | None, now: datetime) -> datetime:
    """When a plan begins: as asked, else as the plant file says, else the next full minute."""
    return plant.site.begins(asked, now)


def _running(costed_plan: CostedPlan) -> CostedPlan:
    """A plan of which some job runs."""
    if costed_plan.sequence.totals.jobs == 0:
        raise NothingCanRun(
            f"{left_out.job}: {'; '.join(left_out.reasons)}" for left_out in costed_plan.sequence.left_out
        )
    return costed_plan
