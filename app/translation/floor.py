"""An order as the floor needs it: with its rolls, metre by metre and stop by stop."""

from __future__ import annotations

from dataclasses import dataclass

from app.contracts.orders import RunOrder
from app.contracts.run_sheets import RunSheet
from app.contracts.sequences import Goal
from app.contracts.web_ledger import WebLedger
from app.translation.run_sheets import run_sheet_contracts
from app.translation.solving import Question
from app.translation.web_ledger import web_ledger_contract
from solver.cheapest_rolls import RolledSequence


@dataclass(frozen=True, slots=True)
class FloorOrder:
    """An order of a queue with the rolls that cost least for it."""

    question: Question
    rolled: RolledSequence

    @classmethod
    def of(cls, question: Question, order: RunOrder, goal: Goal) -> FloorOrder:
        """Choose the rolls of an order.

        Raises
        ------
        BadInput
            Where a job cannot run where the order has it, or is missing.
        """
        return cls(question, question.rolled(order, goal))

    @property
    def ledger(self) -> WebLedger:
        """What becomes of every metre of web and of every roll."""
        return web_ledger_contract(
            self.rolled.problem, self.rolled.plan, self.question.clock, self.question.plant.site.name
        )

    @property
    def run_sheets(self) -> tuple[RunSheet, ...]:
        """What the crew of every line needs, shift by shift."""
        return run_sheet_contracts(
            self.rolled.problem, self.rolled.plan, self.question.clock, self.question.plant.site.name
        )
