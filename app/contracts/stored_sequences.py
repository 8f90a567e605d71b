"""Sequences as they are stored: what a list shows of them, and one whole."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from app.contracts.base import Code, Contract, Number
from app.contracts.orders import RunOrder
from app.contracts.sequences import Goal, Sequence
from app.contracts.stored import Stored


class SequenceHead(Contract):
    """What a list shows of a sequence."""

    id: Code = Field(description="Its number.")
    name: str = Field(description="What people call it.")
    goal: Goal = Field(description="What it was to be best at.")
    start: datetime = Field(description="The plan's start.")
    setup_version: int = Field(
        description="That of the plant it was costed by; where it is not the plant's now, it is out of date."
    )
    jobs: int = Field(description="Jobs placed, whole or in lots.")
    left_out: int = Field(description="Jobs left out, and lots of jobs of which others are placed.")
    late_jobs: int = Field(description="Jobs that end after their press due.")
    waste_m: Number = Field(description="Wasted web but for the spoilage allowance.")
    changeover_min: Number = Field(description="Minutes of changeovers.")
    lateness_min: Number = Field(description="Minutes of the late jobs together.")
    total_eur: Number = Field(description="Its cost.")
    controllable_eur: Number = Field(description="The same without running: what the order can change.")


class StoredSequence(Stored[SequenceHead]):
    """A stored sequence, whole."""

    order: RunOrder = Field(description="The order that was costed.")
    sequence: Sequence = Field(description="Its account.")
