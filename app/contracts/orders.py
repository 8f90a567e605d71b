"""An order of runs as somebody gives it, to be costed."""

from __future__ import annotations

from pydantic import Field

from app.contracts.base import Code, Contract, Word


class OrderedRun(Contract):
    """A job in an order."""

    job: Code = Field(description="Its number.")
    stations: tuple[Word, ...] | None = Field(
        default=None,
        description="Stations of its layers in laying order, then its die's; absent: the first that can.",
    )
    row: int | None = Field(default=None, description="Where it stands in the file, for messages.")


class LineOrder(Contract):
    """A line's runs in order."""

    line: Code = Field(description="Its name.")
    runs: tuple[OrderedRun, ...] = Field(description="In order.")


class RunOrder(Contract):
    """Runs in order, line by line, and the jobs that are meant to stay out."""

    lines: tuple[LineOrder, ...] = Field(description="Lines that have runs.")
    left_out: tuple[Code, ...] = Field(default=(), description="Jobs that are not to run.")
    file: str | None = Field(default=None, description="Where it was read, for messages.")
