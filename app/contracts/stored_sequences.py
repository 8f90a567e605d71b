"""Sequences as they are kept: what lists show of them, the whole of one, and what it was worked out from."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from app.contracts.base import Code, Contract, Number
from app.contracts.costings import Costing, HandMadeOrder
from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import CostedPlan, Goal
from app.contracts.stored import Stored


class NewSequence(Costing, HandMadeOrder):
    """An order made by hand, to be costed with the rolls that cost least for it, and kept."""

    name: Code = Field(description="What people call it.")


class SequenceInput(Contract):
    """What a sequence was worked out from: enough to work it out again."""

    plant: Plant = Field(description="The plant as it was.")
    jobs: tuple[Job, ...] = Field(description="The jobs as they were.")
    start: datetime = Field(description="When the plan begins.")
    locks: tuple[Lock, ...] = Field(description="What was fixed.")
    in_force: RunOrder | None = Field(default=None, description="The sequence that people worked to.")


class SequenceHead(Contract):
    """What a list shows of a sequence."""

    id: Code = Field(description="Its id.")
    name: str = Field(description="What people call it.")
    goal: Goal = Field(description="What it is to be best at.")
    start: datetime = Field(description="When the plan begins.")
    jobs: int = Field(description="Jobs placed, whole or in lots.")
    left_out: int = Field(description="Jobs left out, and lots of jobs of which others are placed.")
    late_jobs: int = Field(description="Jobs that end after their press due.")
    waste_m: Number = Field(description="Wasted web but for the spoilage allowance.")
    changeover_min: Number = Field(description="Minutes of changeovers.")
    lateness_min: Number = Field(description="Minutes of the late jobs together.")
    total_eur: Number = Field(description="All cost.")
    controllable_eur: Number = Field(description="All cost but running: what the order can change.")


class StoredSequence(Stored[SequenceHead]):
    """A kept sequence, whole."""

    plan: CostedPlan = Field(
        description="Its runs and changeovers, and the queue as entered and by due time."
    )
    out_of_date: bool = Field(
        description="Whether plant, stock or one of its jobs has changed since it was worked out."
    )
