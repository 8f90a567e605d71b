"""What an order means to the floor: what becomes of every metre of web and roll, and what the crews do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.run_sheets import RunSheet
from app.contracts.sequences import CostedPlan, Goal
from app.contracts.web_ledger import WebLedger
from app.translation.floor import FloorOrder
from app.translation.reasons import order_of
from app.translation.solving import Question


@dataclass(frozen=True, slots=True)
class FloorPapers:
    """What the floor is given: the web ledger, and the run sheets by line and shift."""

    ledger: WebLedger
    run_sheets: tuple[RunSheet, ...]


def papers(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    order: RunOrder,
    goal: Goal,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> FloorPapers:
    """The papers of an order, with the rolls that cost least for it.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or the order cannot be run.
    """
    floor_order = FloorOrder.of(Question.of(plant, jobs, start, locks, in_force), order, goal)
    return FloorPapers(floor_order.ledger, floor_order.run_sheets)


def papers_of_plan(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    costed_plan: CostedPlan,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> FloorPapers:
    """The papers of a plan, or of an order costed, of these jobs on this plant from this start.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves.
    """
    order, goal = order_of(costed_plan.sequence), costed_plan.sequence.goal
    return papers(plant, jobs, start, order, goal, locks=locks, in_force=in_force)
