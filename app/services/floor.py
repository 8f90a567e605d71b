"""What an order means to the floor: what becomes of every metre of web and roll, and what the crews do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.run_sheets import RunSheet
from app.contracts.sequences import Goal
from app.contracts.web_ledger import WebLedger
from app.translation.run_sheets import run_sheet_contracts
from app.translation.solving import Question
from app.translation.web_ledger import web_ledger_contract


def ledger(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    order: RunOrder,
    goal: Goal,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> WebLedger:
    """The web ledger of an order with the rolls that cost least for it.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or the order cannot be run.
    """
    question = Question.of(plant, jobs, start, locks, in_force)
    rolled = question.rolled(order, goal)
    return web_ledger_contract(rolled.problem, rolled.plan, question.clock, plant.site.name)


def run_sheets(
    plant: Plant,
    jobs: Sequence[Job],
    start: datetime,
    order: RunOrder,
    goal: Goal,
    *,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> tuple[RunSheet, ...]:
    """What the crew of every line needs in every shift, with the rolls that cost least for the order.

    Raises
    ------
    BadInput
        Where plant or jobs contradict themselves, or the order cannot be run.
    """
    question = Question.of(plant, jobs, start, locks, in_force)
    rolled = question.rolled(order, goal)
    return run_sheet_contracts(rolled.problem, rolled.plan, question.clock, plant.site.name)
