"""Releases: sequences given to the floor, line by line."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated

from pydantic import Field, StringConstraints, field_validator
from pydantic_core import PydanticCustomError

from app.contracts.base import Code, Contract, Number
from app.contracts.orders import LabelRange
from app.contracts.sequences import LineRuns

MOST_LINES = 100

Why = Annotated[str, StringConstraints(min_length=1, max_length=500)]


class _OfLines(Contract):
    lines: tuple[Code, ...] = Field(default=(), max_length=MOST_LINES, description="Which lines.")
    note: Why = Field(description="Why, for people; it is kept and shown.")

    @field_validator("lines")
    @classmethod
    def _each_once(cls, lines: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(lines)) < len(lines):
            raise PydanticCustomError("doubled", "should name each of the lines once")
        return lines


class NewRelease(_OfLines):
    """A kept sequence that lines are to run from now on."""

    sequence: Code = Field(description="Its id.")
    lines: tuple[Code, ...] = Field(
        default=(),
        max_length=MOST_LINES,
        description="These lines of it, also one that is to run nothing any more; absent: all on which it "
        "runs something.",
    )
    despite_changes: bool = Field(
        default=False,
        strict=True,
        description="true: also where plant, stock or jobs have changed since it was worked out; the release "
        "then says what spoke against it.",
    )


class Withdrawal(_OfLines):
    """A release that lines are to run no longer, without another in its place."""

    lines: tuple[Code, ...] = Field(
        default=(),
        max_length=MOST_LINES,
        description="These lines; absent: all on which it is current.",
    )


class ObjectionKind(StrEnum):
    """What may speak against a release."""

    PLANT_CHANGED = "plant-changed"
    JOB_CHANGED = "job-changed"
    JOB_CANCELLED = "job-cancelled"
    JOB_FINISHED = "job-finished"
    JOB_REMOVED = "job-removed"
    JOB_HAS_RUN = "job-has-run"
    ON_ANOTHER_LINE = "on-another-line"


class Objection(Contract):
    """Something that spoke against a release."""

    kind: ObjectionKind = Field(description="What kind of thing.")
    job: str | None = Field(default=None, description="The job; none: it is about the plant.")
    lines: tuple[str, ...] = Field(
        default=(), description="Released lines that have the job; none: it is about all of them."
    )
    told: str = Field(description="The same for people.")


class ReleasedLine(Contract):
    """A line of a release, and how long it was to be run there."""

    line: str = Field(description="The line.")
    runs: int = Field(ge=0, description="How many runs it has there.")
    first_start: datetime | None = Field(description="When the first changeover starts; none: no run.")
    last_end: datetime | None = Field(description="When the last run ends; none: no run.")
    current: bool = Field(description="Whether it is what the line is to run now.")
    superseded_at: datetime | None = Field(
        default=None, description="When another release took its place; none: none did."
    )
    superseded_by: str | None = Field(default=None, description="Which release did.")
    withdrawn_at: datetime | None = Field(
        default=None, description="When it was withdrawn without another in its place; none: it was not."
    )
    withdrawn_by: str | None = Field(default=None, description="Who withdrew it.")
    withdrawal_note: str | None = Field(default=None, description="Why it was withdrawn.")


class Release(Contract):
    """A sequence that was given to the floor. Nothing of it changes but how long its lines run it."""

    id: Code = Field(description="Its id.")
    sequence: Code = Field(description="The sequence's id.")
    sequence_name: str = Field(description="What people call that.")
    note: str = Field(description="Why it was released.")
    despite: tuple[Objection, ...] = Field(
        default=(), description="What spoke against it when it was released all the same."
    )
    released_at: datetime = Field(description="When.")
    released_by: str = Field(description="By whom.")
    lines: tuple[ReleasedLine, ...] = Field(description="Line by line, in the sequence's order.")

    @property
    def current_lines(self) -> tuple[str, ...]:
        """Lines that are to run it now."""
        return tuple(line.line for line in self.lines if line.current)


class ReleasedRun(Contract):
    """A run of a job in a line's current release."""

    release: str = Field(description="The release's id.")
    sequence: str = Field(description="The sequence's id.")
    line: str = Field(description="The line.")
    position: int = Field(ge=1, description="Its place on the line, from 1.")
    lot: LabelRange | None = Field(default=None, description="The part of the job; none: all of it.")
    changeover_start: datetime = Field(description="When its changeover starts.")
    print_start: datetime = Field(description="When it prints.")
    end: datetime = Field(description="When it ends.")
    press_due: datetime | None = Field(description="When it must end to ship in time.")
    late_min: Number = Field(description="How much later it ends.")


class LineRelease(Contract):
    """What a line is to run now."""

    release: Code = Field(description="The release's id.")
    sequence: Code = Field(description="The sequence's id.")
    note: str = Field(description="Why it was released.")
    despite: tuple[Objection, ...] = Field(
        default=(), description="What spoke against it, of this line, when it was released all the same."
    )
    released_at: datetime = Field(description="When.")
    released_by: str = Field(description="By whom.")
    runs: LineRuns = Field(description="Its runs and changeovers with their times.")
