"""Costed plans made from the sample by changing what a test is about."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import CostedPlan, Goal
from app.intake.queue import read_queue
from app.services import planning
from app.translation.solving import Question
from tests.app.queues import SAMPLE, put, sample_plant

QUEUE = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
START = datetime(2027, 3, 1, 6)
IN_ORDER = ("J-2101", "J-2103", "J-2104", "J-2102")
VARNISH_LAST = {"J-2101": ("inkjet", "flexo-3", "die")}
"""Stations of a job that is not to take the first that can."""


def costed_order(
    jobs: tuple[str, ...] = IN_ORDER,
    goal: Goal = Goal.BALANCED,
    start: datetime = START,
    *,
    renamed: Mapping[str, str] | None = None,
    **changes: object,
) -> CostedPlan:
    """The sample's jobs in an order on the hybrid line; the rest left out.

    Parameters
    ----------
    renamed
        Other numbers for some jobs.
    changes
        Places of the plant file, `__` for a dot, and what stands there.
    """
    names = renamed or {}
    plant = sample_plant()
    for place, new in changes.items():
        put(plant, place.replace("__", "."), new)
    queue = [job.model_copy(update={"job": names.get(job.job, job.job)}) for job in QUEUE.jobs]
    runs = tuple(OrderedRun(job=names.get(job, job), stations=VARNISH_LAST.get(job)) for job in jobs)
    order = RunOrder(
        lines=(LineOrder(line="H1", runs=runs),),
        left_out=tuple(names.get(job.job, job.job) for job in QUEUE.jobs if job.job not in jobs),
    )
    return planning.cost(Question(Plant.model_validate(plant), queue, start), order, goal)


def eventful_order(renamed: Mapping[str, str] | None = None) -> CostedPlan:
    """Print spoiled by stops, roll ends, a closure inside a run, a late job, a job left out."""
    return costed_order(
        ("J-2103", "J-2104", "J-2101"),
        Goal.LEAST_WASTE,
        datetime(2027, 3, 1, 8),
        renamed=renamed,
        lines__0__restart_m=3,
        lines__0__pull_back_m=0,
        lines__0__pull_back_zone=None,
        lines__0__hands_while_running=0,
        substrates__0__usual_roll_m=400,
        calendar__closures=[{"from": "2027-03-01T08:40", "to": "2027-03-01T09:00"}],
    )
