"""What stands in the way of a queue."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from app.contracts.base import Contract, Number


class LineFit(Contract):
    """Whether a line can run a job."""

    line: str = Field(description="The line.")
    reasons: tuple[str, ...] = Field(description="Why it cannot; none: it can.")


class JobReadiness(Contract):
    """What a job waits for."""

    job: str = Field(description="Its number.")
    lines: tuple[LineFit, ...] = Field(description="Line by line.")
    not_ready_until: datetime | None = Field(
        description="When artwork, plates and die are there, if not yet."
    )
    overdue_since: datetime | None = Field(description="Press due that has passed before the plan starts.")
    left_out: tuple[str, ...] = Field(description="Why it stays out although a line could run it.")

    @property
    def can_run(self) -> bool:
        """Whether a line can run it and nothing keeps it out."""
        return not self.left_out and any(not line.reasons for line in self.lines)


class StockNeed(Contract):
    """What the queue takes of one stock, in the order it was entered."""

    substrate: str = Field(description="The stock.")
    width_mm: Number = Field(description="Its width.")
    needed_m: Number = Field(description="Web and waste of the jobs that run.")
    on_hand_m: Number | None = Field(description="Metres in the store; none: not followed.")
    to_come_m: Number = Field(description="Metres of deliveries after the plan's start.")


class Readiness(Contract):
    """The state of a queue before it is ordered."""

    start: datetime = Field(description="The plan's start.")
    jobs: tuple[JobReadiness, ...] = Field(description="In the order entered.")
    stocks: tuple[StockNeed, ...] = Field(description="Stocks that the queue takes.")
