"""An order of runs as somebody gives it, to be costed."""

from __future__ import annotations

from pydantic import Field

from app.contracts.base import Code, Contract, Count, Word


class LabelRange(Contract):
    """Labels of a job, those of its versions counted on in order, from 1."""

    first_label: Count = Field(description="The first of them.")
    last_label: Count = Field(description="The last of them.")


def overlap(one: LabelRange | None, other: LabelRange | None) -> bool:
    """Whether two runs of a job make some of its labels twice; None is all of them."""
    if one is None or other is None:
        return True
    return one.first_label <= other.last_label and other.first_label <= one.last_label


class OrderedRun(Contract):
    """A job in an order, or a lot of it."""

    job: Code = Field(description="Its number.")
    stations: tuple[Word, ...] | None = Field(
        default=None,
        description="Stations of its layers in laying order, then its die's; absent: the first that can.",
    )
    lot: LabelRange | None = Field(default=None, description="Its labels that run here; absent: all of them.")
    row: int | None = Field(default=None, description="Where it stands in the file, for messages.")


class LeftOutLot(Contract):
    """Labels of a job that are not to run though others of it do."""

    job: Code = Field(description="Its number.")
    lot: LabelRange = Field(description="The labels.")
    row: int | None = Field(default=None, description="Where it stands in the file, for messages.")


class LineOrder(Contract):
    """A line's runs in order."""

    line: Code = Field(description="Its name.")
    runs: tuple[OrderedRun, ...] = Field(description="In order.")


class RunOrder(Contract):
    """Runs in order, line by line, and the jobs that are meant to stay out."""

    lines: tuple[LineOrder, ...] = Field(description="Lines that have runs.")
    left_out: tuple[Code, ...] = Field(default=(), description="Jobs that are not to run.")
    left_out_lots: tuple[LeftOutLot, ...] = Field(default=(), description="Lots that are not to run.")
    file: str | None = Field(default=None, description="Where it was read, for messages.")

    @property
    def job_names(self) -> tuple[str, ...]:
        """Every job that the order speaks of, once."""
        placed = (run.job for line in self.lines for run in line.runs)
        named = (*placed, *self.left_out, *(left_out.job for left_out in self.left_out_lots))
        return tuple(dict.fromkeys(named))
