"""Run sheets of the sample day, of drawn days and of the worked line, with what they are made from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from zoneinfo import ZoneInfo

from app.contracts.crew_calls import Call
from app.contracts.run_sheets import RunSheet
from app.intake.queue import read_queue
from app.translation.run_sheets import run_sheet_contracts
from app.translation.solving import Question
from app.translation.times import PlanClock
from solver.account import account
from solver.baselines import as_entered, by_due_time
from solver.jobs import Job
from solver.plant import Line, StockedWidth
from solver.problem import Problem
from solver.roll_plan import RollPlan, with_rolls
from solver.sequence import Order
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day, drawn_lots, drawn_order
from tests.builders.drawn_rolls import with_drawn_rolls
from tests.builders.plant_days import SAMPLE_DATA
from tests.builders.worked import worked_problem

CLOCK = PlanClock.at(datetime(2027, 3, 1, 6), ZoneInfo("Europe/Berlin"))


@dataclass(frozen=True)
class Sheets:
    """Sheets with the problem and the plan that they tell of."""

    problem: Problem
    plan: RollPlan
    clock: PlanClock
    sheets: tuple[RunSheet, ...]

    def of_line(self, line: str) -> list[RunSheet]:
        return [sheet for sheet in self.sheets if sheet.line == line]

    def calls(self, line: str) -> list[Call]:
        """All calls on the sheets of a line, in the order of the paper."""
        return [call for sheet in self.of_line(line) for run in sheet.runs for call in run.calls]


def sheets_of(problem: Problem, order: Order, clock: PlanClock = CLOCK, site: str = "Site") -> Sheets:
    """The sheets of an order, its rolls chosen."""
    with_ends, plan = with_rolls(problem, order, Weights())
    return Sheets(with_ends, plan, clock, run_sheet_contracts(with_ends, plan, clock, site))


@cache
def sample_sheets() -> Sheets:
    """The sample day by due time: three lines, two days, rolls of every stock."""
    day = SAMPLE_DATA / "day"
    queue = read_queue(day / "plant.json", day / "jobs.csv", stock_path=day / "stock.csv")
    start = queue.plant.site.plan_from
    if start is None:
        raise ValueError("the sample day has a start of its own")
    question = Question(queue.plant, queue.jobs, start)
    order = by_due_time(question.problem)
    return sheets_of(question.problem, order, question.clock, queue.plant.site.name)


def drawn_sheets(seed: int, lines: int, lots: bool = False) -> Sheets:
    """A drawn day with drawn rolls in a drawn order."""
    problem = drawn_day(seed, DayShape(jobs=7, lines=lines, limited_stock=False, splits=lots))
    order = (drawn_lots if lots else drawn_order)(problem, seed)
    return sheets_of(with_drawn_rolls(problem, account(problem, order, Weights()), seed), order)


def worked_sheets(line: Line, *jobs: Job, stocked: StockedWidth | None = None) -> Sheets:
    """Jobs on the worked line in their order; `stocked` is what is there of its paper."""
    problem = worked_problem(line, *jobs)
    if stocked is not None:
        problem = with_stock(problem, stocked)
    return sheets_of(problem, as_entered(problem))


def with_stock(problem: Problem, stocked: StockedWidth) -> Problem:
    """A problem with other stock of its first substrate."""
    first, *others = problem.plant.substrates
    plant = replace(problem.plant, substrates=(replace(first, widths=(stocked,)), *others))
    return replace(problem, plant=plant)
