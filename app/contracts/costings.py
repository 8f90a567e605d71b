"""Orders made by hand, to be costed or compared, and what they come to in brief.

What they come to is the account's, number by number; beside the parts stand no drawings, no ledger and no
baselines, so that it is there while somebody drags a run.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import datetime
from itertools import chain
from typing import Annotated, Self, TypeVar

from pydantic import Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from app.contracts.base import Code, Contract, Number, OffsetMoment, Word
from app.contracts.locks import Lock
from app.contracts.orders import LabelRange, LeftOutLot, LineOrder, OrderedRun, RunOrder
from app.contracts.sequences import Changeover, Cost, Goal, Interruption, LeftOut, Lot

T = TypeVar("T")

MOST_RUNS = 2_000
"""Runs of a line in an order that is costed while somebody waits."""
MOST_LINES = 100
"""Lines of such an order."""
MOST_COMPARED = 10
"""Orders that are compared at once."""


def _each_once(items: tuple[T, ...], name_of: Callable[[T], str], what: str) -> tuple[T, ...]:
    """Refuse two items of one name."""
    twice = [name for name, count in Counter(map(name_of, items)).items() if count > 1]
    if twice:
        raise PydanticCustomError(
            "twice",
            "each {what} should be there once, not {twice} again",
            {"what": what, "twice": ", ".join(twice)},
        )
    return items


class RunToCost(Contract):
    """A job, or a lot of it, where somebody wants it to run."""

    job: Code = Field(description="Its number.")
    stations: tuple[Word, ...] | None = Field(
        default=None,
        description="Stations of its layers in laying order, then its die's; absent: the first that can.",
    )
    lot: LabelRange | None = Field(default=None, description="Its labels that run here; absent: all of them.")


class LineToCost(Contract):
    """A line's runs in order."""

    line: Code = Field(description="Its name.")
    runs: Annotated[tuple[RunToCost, ...], Field(max_length=MOST_RUNS)] = Field(description="In order.")


class LotNotToRun(Contract):
    """Labels of a job that are not to run though others of it do."""

    job: Code = Field(description="Its number.")
    lot: LabelRange = Field(description="The labels.")


class HandMadeOrder(Contract):
    """Runs in order, line by line, and the jobs that are meant to stay out."""

    lines: Annotated[tuple[LineToCost, ...], Field(max_length=MOST_LINES)] = Field(
        description="Lines that have runs; each once."
    )
    left_out: tuple[Code, ...] = Field(default=(), description="Jobs that are not to run.")
    left_out_lots: tuple[LotNotToRun, ...] = Field(default=(), description="Lots that are not to run.")

    @field_validator("lines")
    @classmethod
    def _once(cls, lines: tuple[LineToCost, ...]) -> tuple[LineToCost, ...]:
        return _each_once(lines, lambda line: line.line, "line")

    @property
    def jobs(self) -> frozenset[str]:
        """All jobs that it speaks of."""
        runs = chain.from_iterable(line.runs for line in self.lines)
        lots = (left_out.job for left_out in self.left_out_lots)
        return frozenset(chain((run.job for run in runs), self.left_out, lots))

    @property
    def run_order(self) -> RunOrder:
        """The order as it is costed; rows count its runs, line after line, from 1. It has been validated."""
        row = 0
        lines: list[LineOrder] = []
        for line in self.lines:
            runs = tuple(
                OrderedRun.model_construct(job=run.job, stations=run.stations, lot=run.lot, row=number)
                for number, run in enumerate(line.runs, row + 1)
            )
            row += len(runs)
            lines.append(LineOrder.model_construct(line=line.line, runs=runs))
        return RunOrder.model_construct(
            lines=tuple(lines),
            left_out=self.left_out,
            left_out_lots=tuple(
                LeftOutLot.model_construct(job=left_out.job, lot=left_out.lot, row=None)
                for left_out in self.left_out_lots
            ),
            file=None,
        )


class Costing(Contract):
    """What is the same for all orders that are costed together."""

    start: OffsetMoment | None = Field(
        default=None, description="When the plan begins; absent: as the plant says, else the next minute."
    )
    goal: Goal = Field(
        default=Goal.BALANCED, description="It decides only how changeovers are split into stops."
    )
    locks: tuple[Lock, ...] = Field(default=(), description="What is fixed; locks not kept are told.")
    rolls: bool = Field(
        default=False,
        description="Whether rolls are chosen for the order, which takes seconds where stock is followed by "
        "roll; else runs are taken to be made of rolls of the usual length, and the answer says so.",
    )


class OrderToCost(Costing, HandMadeOrder):
    """An order made by hand, to be costed."""

    detail: bool = Field(
        default=False, description="Whether every changeover is told with its stops, tasks and waste."
    )


class NamedOrder(HandMadeOrder):
    """One of several orders."""

    name: Code = Field(description="What it is called in the answer.")


class OrdersToCompare(Costing):
    """Orders of the same jobs, to be compared."""

    orders: Annotated[tuple[NamedOrder, ...], Field(max_length=MOST_COMPARED)] = Field(
        default=(), description="The first is what the others are measured against."
    )
    sequences: Annotated[tuple[Code, ...], Field(max_length=MOST_COMPARED)] = Field(
        default=(), description="Kept sequences, by id, behind the orders; costed as things are now."
    )

    @field_validator("orders")
    @classmethod
    def _once(cls, orders: tuple[NamedOrder, ...]) -> tuple[NamedOrder, ...]:
        return _each_once(orders, lambda order: order.name, "name")

    @model_validator(mode="after")
    def _several(self) -> Self:
        if not 2 <= len(self.orders) + len(self.sequences) <= MOST_COMPARED:
            raise PydanticCustomError(
                "several",
                "orders and sequences together should be 2 to {most}",
                {"most": MOST_COMPARED},
            )
        return self

    @property
    def jobs(self) -> frozenset[str]:
        """All jobs that any of the orders speaks of."""
        return frozenset[str]().union(*(order.jobs for order in self.orders))


class CostedRun(Contract):
    """A run of a costed order."""

    job: str = Field(description="Its job.")
    lot: Lot | None = Field(default=None, description="The part of the job that runs; none: all of it.")
    line: str = Field(description="Its line.")
    position: int = Field(description="Its place on the line, counted from 1.")
    stations: tuple[str, ...] = Field(description="Stations of its layers in laying order, then its die's.")
    substrate: str = Field(description="Its label stock.")
    width_mm: Number = Field(description="Width of the roll.")
    changeover_start: datetime = Field(description="When its changeover starts.")
    print_start: datetime = Field(description="When its first sellable metre passes.")
    end: datetime = Field(description="When its last one does.")
    press_due: datetime | None = Field(description="When it must end to ship in time.")
    late_min: Number = Field(description="How much later it ends.")
    late_eur: Number = Field(description="What its job's lateness costs, with the run that ends the job.")
    wait_min: Number = Field(description="From the run before to its changeover, closures included.")
    changeover_min: Number = Field(description="Its changeover; 0 where it had started already.")
    run_min: Number = Field(description="Running, reel changes included.")
    roll_end_min: Number = Field(description="Roll ends inside it.")
    interruption_min: Number = Field(description="What closures it goes through cost.")
    roll_ends: int = Field(description="Roll ends inside it.")
    stops: int = Field(description="Controlled stops, those of roll ends and closures among them.")
    web_m: Number = Field(description="Sellable web and what inspection will reject.")
    waste_m: Number = Field(description="Waste of changeover, roll ends and closures.")
    joined: bool = Field(description="Whether it runs as one with the run before.")
    moved: bool = Field(description="Whether the sequence in force has its job elsewhere.")
    changeover: Changeover | None = Field(
        default=None, description="With detail: what goes before; none: it had started already."
    )
    roll_end: Changeover | None = Field(default=None, description="With detail: what each roll end costs.")
    interruptions: tuple[Interruption, ...] = Field(
        default=(), description="With detail: closures it goes through."
    )


class CostedLine(Contract):
    """A line of a costed order."""

    line: str = Field(description="Its name.")
    runs: int = Field(description="How many it has.")
    end: datetime | None = Field(description="When its last run ends; none: it has none.")
    waiting_min: Number = Field(description="Open minutes without work up to its last run.")
    clean_down_min: Number = Field(description="Cleaning behind its last run.")
    minute_is_worth_m: float | None = Field(
        description="Metres of waste that cost as much as a minute of the line under the goal."
    )


class BriefTotals(Contract):
    """What an order is judged by, in natural units. A total is the sum of the parts shown."""

    jobs: int = Field(description="Jobs placed, whole or in lots.")
    left_out: int = Field(description="Jobs left out, and lots of jobs of which others are placed.")
    waste_m: Number = Field(description="Wasted web but for the spoilage allowance.")
    waste_m2: Number = Field(description="The same in m².")
    stops: int = Field(description="Controlled stops.")
    changeover_min: Number = Field(description="Minutes of changeovers.")
    waiting_min: Number = Field(description="Open minutes without work.")
    running_min: Number = Field(description="Minutes of running.")
    roll_end_min: Number = Field(description="Minutes of roll ends.")
    interruption_min: Number = Field(description="Minutes that closures cost.")
    clean_down_min: Number = Field(description="Minutes of cleaning behind the last runs.")
    late_jobs: int = Field(description="Jobs that end after their press due, split ones with their last lot.")
    lateness_min: Number = Field(description="Their minutes together.")
    moved_runs: int | None = Field(
        description="Runs that the sequence in force has elsewhere; none: none is in force."
    )
    makespan_min: Number = Field(description="From the plan's start to the last end.")


class BriefSequence(Contract):
    """What an order comes to, without its runs."""

    cost: Cost = Field(description="Money.")
    totals: BriefTotals = Field(description="Natural units.")
    left_out: tuple[LeftOut, ...] = Field(description="Jobs that do not run, and why.")
    broken_locks: tuple[str, ...] = Field(description="Locks that the order does not keep.")


class CostedOrder(BriefSequence):
    """What an order made by hand comes to."""

    site: str = Field(description="Where.")
    zone: str = Field(description="Time zone of the site.")
    start: datetime = Field(description="The plan's start.")
    goal: Goal = Field(description="It decided how changeovers are split into stops.")
    by_usual_rolls: bool = Field(
        description="Whether runs were taken to be made of rolls of the usual length: none were chosen."
    )
    lines: tuple[CostedLine, ...] = Field(description="In the plant's order.")
    runs: tuple[CostedRun, ...] = Field(description="Line after line, in order.")


class MoreCost(Contract):
    """What an order costs more than another one, by part; below 0 it costs less."""

    waste_eur: Number = Field(description="Wasted web.")
    changeover_eur: Number = Field(description="Changeovers, roll ends, closures and cleaning.")
    waiting_eur: Number = Field(description="Waiting.")
    running_eur: Number = Field(description="Running.")
    late_eur: Number = Field(description="Late jobs.")
    moved_eur: Number = Field(description="Runs that the sequence in force has elsewhere.")
    stubs_eur: Number = Field(description="What chosen rolls cost besides their splices.")
    total_eur: Number = Field(description="Sum of the parts.")
    controllable_eur: Number = Field(description="The same without running.")


class ComparedHandMade(BriefSequence):
    """One of the orders compared."""

    name: str = Field(description="Its name.")
    more: MoreCost = Field(description="What it costs more than the first one.")


class ComparedOrders(Contract):
    """Several orders side by side, as they were given."""

    start: datetime = Field(description="The plan's start.")
    goal: Goal = Field(description="It decided how changeovers are split into stops.")
    by_usual_rolls: bool = Field(
        description="Whether runs were taken to be made of rolls of the usual length: none were chosen."
    )
    orders: tuple[ComparedHandMade, ...] = Field(description="In the order in which they were given.")
