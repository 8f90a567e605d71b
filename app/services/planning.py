"""Order a queue, cost an order, look whether a queue is ready."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.readiness import Readiness
from app.contracts.sequences import CostedPlan, Goal, Progress
from app.errors import NothingCanRun
from app.translation.solving import Limits, Question


def plan(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    goal: Goal,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
    seconds: float | None = None,
    work: int | None = None,
    seed: int = 0,
    alternatives: int = 0,
    cancelled: Callable[[], bool] = lambda: False,
    on_progress: Callable[[Progress], None] | None = None,
    on_compile: Callable[[], None] = lambda: None,
) -> CostedPlan:
    """The best order found for a queue.

    Parameters
    ----------
    start
        When the plan begins; without an offset on the site's clock.
    locks
        What is fixed about the order.
    in_force
        The sequence that people work to so far: each of its runs that the plan has elsewhere costs the
        plant's `moved_run_eur`. Its jobs may be done by now.
    seconds, work
        When the search ends: after so many seconds, after so many sequences costed or changes tried;
        the first reached. At least one must be given.
    alternatives
        How many sequences, 8 at most, are to stand beside the best that trade metres, minutes and lateness
        against it; fewer where there are no more worth a choice. Looking for them takes a part of the limits.
    cancelled
        Asked now and then; a true answer ends the search, which gives what it has.
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
    question = Question.of(plant, jobs, start, locks, in_force)
    limits = Limits(seconds, work, cancelled)
    costed_plan = question.plan(goal, limits, seed, on_progress, on_compile, alternatives)
    if costed_plan.sequence.totals.jobs == 0:
        raise NothingCanRun(
            f"{left_out.job}: {'; '.join(left_out.reasons)}" for left_out in costed_plan.sequence.left_out
        )
    return costed_plan


def cost(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    order: RunOrder,
    goal: Goal,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> CostedPlan:
    """The exact cost of a given order, the locks it does not keep, and the runs it moves of the sequence in
    force; the goal decides only how changeovers are split into stops.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or the order cannot be run.
    NothingCanRun
        Where no job of the order can be placed.
    """
    costed_plan = Question.of(plant, jobs, start, locks, in_force).cost(order, goal)
    if costed_plan.sequence.totals.jobs == 0:
        raise NothingCanRun(
            f"{left_out.job}: {'; '.join(left_out.reasons)}" for left_out in costed_plan.sequence.left_out
        )
    return costed_plan


def check(plant: Plant, jobs: Sequence[Job], start: datetime) -> Readiness:
    """What is not ready or cannot run, and why.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    """
    return Question.of(plant, jobs, start).readiness()


def plan_start(plant: Plant, asked: datetime | None, now: datetime) -> datetime:
    """When a plan begins: as asked, else as the plant file says, else the next full minute."""
    return plant.site.begins(asked, now)
