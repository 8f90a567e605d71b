"""Locks: what people have fixed about an order."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from app.contracts.base import Code, Contract, Count, Moment, Word


class StartedLock(Contract):
    """The job is running: first on its line, with the times it really has."""

    lock: Literal["started"]
    job: Code = Field(description="Its number.")
    line: Code = Field(description="Where it runs.")
    changeover_start: Moment = Field(description="When its changeover began.")
    print_start: Moment = Field(description="When it began, or will begin, to print.")
    end: Moment = Field(description="When it is expected to end.")
    stations: tuple[Word, ...] | None = Field(
        default=None,
        description="Stations of its layers in laying order, then its die's; absent: the first that can.",
    )


class FixedStartLock(Contract):
    """The job's changeover starts at this moment."""

    lock: Literal["fixed-start"]
    job: Code = Field(description="Its number.")
    at: Moment = Field(description="When its changeover starts.")


class LineLock(Contract):
    """The job runs on this line."""

    lock: Literal["on-line"]
    job: Code = Field(description="Its number.")
    line: Code = Field(description="Where it runs.")


class PositionLock(Contract):
    """The job is n-th on its line."""

    lock: Literal["at-position"]
    job: Code = Field(description="Its number.")
    position: Count = Field(description="Counted from 1, after a started run.")


class TogetherLock(Contract):
    """The jobs run next to each other on one line, in any order."""

    lock: Literal["together"]
    jobs: tuple[Code, ...] = Field(min_length=2, description="Their numbers.")


class BeforeLock(Contract):
    """A job ends before another's changeover starts, on any lines."""

    lock: Literal["before"]
    job: Code = Field(description="The one that comes first.")
    then: Code = Field(description="The one that comes later.")


Lock = Annotated[
    StartedLock | FixedStartLock | LineLock | PositionLock | TogetherLock | BeforeLock,
    Field(discriminator="lock"),
]
LOCK_KINDS = ("started", "fixed-start", "on-line", "at-position", "together", "before")


class LockList(Contract):
    """All locks of a plan."""

    locks: tuple[Lock, ...] = Field(description="In any order.")


def jobs_of(lock: Lock) -> tuple[tuple[str, str], ...]:
    """The jobs that a lock speaks of, each with the field that names it."""
    if isinstance(lock, TogetherLock):
        return tuple((f"jobs[{idx}]", job) for idx, job in enumerate(lock.jobs))
    if isinstance(lock, BeforeLock):
        return ("job", lock.job), ("then", lock.then)
    return (("job", lock.job),)
