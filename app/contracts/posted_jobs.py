"""Jobs as they are posted and stored."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field

from app.contracts.base import Code, Contract, Count, OffsetMoment
from app.contracts.jobs import Job
from app.contracts.releases import ReleasedRun
from app.contracts.stored import Posted, Stored


class PostedJob(Job, Posted):
    """A job over a network: its times have offsets. Stock, die and finishes that the plant does not know are
    taken; the job's readiness says what is missing.
    """

    due: OffsetMoment | None = Field(default=None, description="When it ships; absent: never late.")
    ready: OffsetMoment | None = Field(
        default=None, description="When artwork, plates and die are all there; absent: they are."
    )


class JobStatus(StrEnum):
    """Where a job stands between its arrival and its end."""

    OPEN = "open"
    CANCELLED = "cancelled"
    FINISHED = "finished"


class PlannedRun(Contract):
    """A run of a job in a stored sequence."""

    sequence: str = Field(description="The sequence's id.")
    line: str = Field(description="The line.")
    position: int = Field(ge=1, description="Its place on the line, from 1.")
    print_start: datetime = Field(description="When it prints.")
    end: datetime = Field(description="When it ends.")


class StoredJob(Stored[PostedJob]):
    """A job as it is stored."""

    status: JobStatus = Field(description="open, cancelled or finished.")


class ListedJob(StoredJob):
    """A job, and where it is to run."""

    released: tuple[ReleasedRun, ...] = Field(
        description="Its runs in current releases, as they follow in time; several where it runs in lots."
    )


class JobDetail(ListedJob):
    """A job, where it is released, where it is planned and where it runs."""

    planned: tuple[PlannedRun, ...] = Field(description="Its runs in stored sequences, the latest first.")
    running_on: tuple[str, ...] = Field(description="Lines on which it has begun and not ended.")


class NewQuantity(Contract):
    """Another quantity of a version."""

    version: Code = Field(description="The version's name in the job.")
    quantity: Count = Field(description="Labels wanted now.")
    max_quantity: Count | None = Field(
        default=None, description="Most labels that may be sent; absent: as it was, where it still can be."
    )


class QuantityChange(Posted):
    """Other quantities of some of a job's versions."""

    versions: tuple[NewQuantity, ...] = Field(min_length=1, description="The versions that change.")


class StatusChange(Posted):
    """Where a job is to stand: not to run, done, or open again."""

    status: JobStatus = Field(description="open, cancelled or finished.")
    reason: str = Field(default="", max_length=500, description="Why, for people; of a cancellation.")


class JobChanged(Contract):
    """A job after a change, and what the change touches."""

    job: StoredJob = Field(description="The job now.")
    affects: tuple[str, ...] = Field(
        description="Sequences that hold it and lines that run it, in words; none: nothing is touched."
    )
