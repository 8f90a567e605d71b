"""Orders of the same queue side by side."""

from __future__ import annotations

from pydantic import Field

from app.contracts.base import Contract, Number


class ComparedOrder(Contract):
    """One of the orders, by what it is chosen by."""

    name: str = Field(description="recommended, alternative 1 …, as entered, by due time, in force.")
    trade: str | None = Field(description="What an alternative trades against the recommended order.")
    file: str | None = Field(description="The order as a file of the same folder; none: it is not written.")
    waste_m: Number = Field(description="Wasted web but for the spoilage allowance.")
    stopped_min: Number = Field(
        description="Set-up and stopped minutes: changeovers, roll ends, closures, cleaning and waiting."
    )
    late_eur: Number = Field(description="What late jobs cost.")
    late_jobs: int = Field(description="Jobs that end after their press due.")
    left_out: int = Field(description="Jobs left out.")
    moved_runs: int | None = Field(
        default=None, description="Runs that the sequence in force has elsewhere; none: none is in force."
    )
    stubs_eur: Number | None = Field(
        default=None, description="What chosen rolls cost besides their splices; none: none are chosen."
    )
    controllable_eur: Number = Field(description="All cost but running: what the order can change.")
    total_eur: Number = Field(description="All cost.")


class Comparison(Contract):
    """The recommended order, its alternatives, and the orders nobody searched for."""

    orders: tuple[ComparedOrder, ...] = Field(description="In this order.")
