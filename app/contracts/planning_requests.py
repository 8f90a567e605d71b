"""Planning requests: what is asked for, how far it is, and what came of it."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from app.contracts.base import Code, Contract, OffsetMoment
from app.contracts.locks import Lock
from app.contracts.sequences import Goal, Progress, Search
from app.contracts.stored import Refusal
from app.contracts.stored_sequences import SequenceInput

MOST_JOBS = 5_000
MOST_SECONDS = 3600
USUAL_SECONDS = 30.0
LONGEST_LIMIT_S = 2 * MOST_SECONDS


class RequestStatus(StrEnum):
    """Where a planning request stands."""

    QUEUED = "queued"
    RUNNING = "running"
    FINISHED = "finished"
    CANCELLED = "cancelled"
    FAILED = "failed"
    DEAD = "dead"

    @property
    def is_over(self) -> bool:
        """Whether nothing will be done any more unless somebody sends it again."""
        return self not in (RequestStatus.QUEUED, RequestStatus.RUNNING)


class Priority(StrEnum):
    """Which of the waiting requests goes first; among equals the oldest."""

    OVERNIGHT = "overnight"
    USUAL = "usual"
    RUSH = "rush"

    @property
    def rank(self) -> int:
        """The higher, the sooner."""
        return list(Priority).index(self)


class JobFilter(Contract):
    """Which of the open jobs are meant; what is absent leaves none out."""

    due_before: OffsetMoment | None = Field(default=None, description="Due before this moment.")
    ready_before: OffsetMoment | None = Field(default=None, description="Ready before this moment.")
    customer: str | None = Field(default=None, max_length=200, description="Of this customer.")
    substrate: Code | None = Field(default=None, description="On this label stock.")
    die: Code | None = Field(default=None, description="With this die.")


class Keeping(Contract):
    """What is to be kept of the sequences that are released."""

    released: bool = Field(
        default=True,
        strict=True,
        description="Each run that is moved away from where it is released costs the plant's moved_run_eur; "
        "what is running stays.",
    )
    frozen_min: Annotated[int, Field(ge=0, le=60 * 24 * 14, strict=True)] = Field(
        default=0,
        description="Runs whose released changeover starts within so many minutes of the plan's start keep "
        "their place.",
    )

    @model_validator(mode="after")
    def _of_something(self) -> Self:
        if self.frozen_min and not self.released:
            raise PydanticCustomError("frozen", "should keep what is released if runs of it are frozen")
        return self


class NewPlanningRequest(Contract):
    """What an order is asked for."""

    name: Code = Field(default="plan", description="What people call it, and the sequence that comes of it.")
    jobs: tuple[Code, ...] = Field(
        default=(),
        max_length=MOST_JOBS,
        description="These jobs; absent: all open ones, or those meant below.",
    )
    which: JobFilter | None = Field(default=None, description="Of the open jobs these alone.")
    lines: tuple[Code, ...] = Field(default=(), max_length=100, description="These lines; absent: all.")
    start: OffsetMoment | None = Field(
        default=None, description="When the plan begins; absent: as the plant says, else the next minute."
    )
    goal: Goal = Field(default=Goal.BALANCED, description="What the order is to be best at.")
    locks: tuple[Lock, ...] = Field(default=(), max_length=10_000, description="What is fixed.")
    keep: Keeping | None = Field(default=None, description="What is to be kept of released sequences.")
    seconds: Annotated[float, Field(ge=0, le=MOST_SECONDS, allow_inf_nan=False)] | None = Field(
        default=None, description=f"Search for so long; {USUAL_SECONDS:g} where no limit is given."
    )
    work: Annotated[int, Field(ge=1, le=10**12, strict=True)] | None = Field(
        default=None, description="Try so many changes; the result is then the same anywhere."
    )
    seed: Annotated[int, Field(ge=0, lt=2**31, strict=True)] = Field(
        default=0, description="Seed of the search's random choices."
    )
    alternatives: Annotated[int, Field(ge=0, le=8, strict=True)] = Field(
        default=3, description="So many other sequences at most, which trade metres, minutes and lateness."
    )
    reasons: bool = Field(default=True, strict=True, description="Whether reasons are worked out too.")
    priority: Priority = Field(default=Priority.USUAL, description="Which of those that wait goes first.")
    limit_s: Annotated[int, Field(ge=1, le=LONGEST_LIMIT_S, strict=True)] | None = Field(
        default=None,
        description="After so many seconds it is ended with what there is, whatever it is at; absent: the "
        "search's seconds and two minutes.",
    )

    @model_validator(mode="after")
    def _one_choice(self) -> Self:
        if self.jobs and self.which is not None:
            raise PydanticCustomError("choice", "should name jobs or say which, not both")
        for name in ("jobs", "lines"):
            named: tuple[str, ...] = getattr(self, name)
            if len(set(named)) < len(named):
                raise PydanticCustomError("doubled", f"should name each of the {name} once")
        return self

    @property
    def search_s(self) -> float | None:
        """Seconds of the search; None where its work alone ends it."""
        return USUAL_SECONDS if self.seconds is None and self.work is None else self.seconds


class PlanningInput(SequenceInput):
    """All that a request is worked out from, as it was when it was made: enough to work it out again."""

    goal: Goal = Field(description="What the order is to be best at.")
    seconds: float | None = Field(description="How long the search may take; none: its work ends it.")
    work: int | None = Field(description="Changes to be tried; none: its time ends it.")
    seed: int = Field(description="Seed of the search's random choices.")
    alternatives: int = Field(description="Other sequences wanted at most.")
    reasons: bool = Field(description="Whether reasons are wanted.")


class RequestProgress(Progress):
    """How far the search of a request is."""

    number: int = Field(ge=1, description="Counts what was told of this request.")
    at: datetime = Field(description="When it was told.")


class FoundAlternative(Contract):
    """A sequence beside the recommended one."""

    sequence: Code = Field(description="Its id.")
    name: str = Field(description="alternative 1, alternative 2 …")
    trade: str = Field(description="What it trades against the recommended one.")


class RequestResult(Contract):
    """What came of a request."""

    sequence: Code = Field(description="Id of the recommended sequence.")
    alternatives: tuple[FoundAlternative, ...] = Field(default=(), description="Cheapest first.")
    search: Search | None = Field(
        description="How it was found; none: it is the best so far of a search that was broken off."
    )
    is_whole: bool = Field(description="Whether the search came to its own end.")
    has_reasons: bool = Field(default=False, description="Whether reasons can be read.")


class RequestProblem(Contract):
    """Why a request failed."""

    type: str = Field(description="Kind of problem, as of an answer.")
    title: str = Field(description="The same for people.")
    detail: str = Field(default="", description="What happened.")
    errors: tuple[Refusal, ...] = Field(default=(), description="All that is wrong with what was asked.")


class PlanningRequest(Contract):
    """A planning request."""

    id: Code = Field(description="Its id.")
    status: RequestStatus = Field(description="queued, running, finished, cancelled, failed or dead.")
    asked: NewPlanningRequest = Field(description="What was asked for.")
    digest: str = Field(description="SHA-256 of all that it is worked out from.")
    created_at: datetime = Field(description="When it was asked for.")
    created_by: str = Field(description="By whom.")
    started_at: datetime | None = Field(default=None, description="When work on it began last.")
    ended_at: datetime | None = Field(default=None, description="When it was over.")
    cancel_requested_at: datetime | None = Field(default=None, description="When somebody cancelled it.")
    attempt: int = Field(description="How often work on it began.")
    attempts_left: int = Field(description="How often it may begin again.")
    worker: str | None = Field(default=None, description="Who works or worked on it.")
    progress: RequestProgress | None = Field(default=None, description="How far it is.")
    result: RequestResult | None = Field(default=None, description="What came of it.")
    problem: RequestProblem | None = Field(default=None, description="Why it failed.")
    notes: tuple[str, ...] = Field(default=(), description="What was left aside, for people.")


class EventKind(StrEnum):
    """What happened to a request."""

    QUEUED = "queued"
    STARTED = "started"
    RETRIED = "retried"
    CANCEL_REQUESTED = "cancel-requested"
    FINISHED = "finished"
    CANCELLED = "cancelled"
    FAILED = "failed"
    DEAD = "dead"


class RequestEvent(Contract):
    """Something that happened to a request; nothing of it is ever changed."""

    number: int = Field(ge=1, description="Counts the events of the request.")
    at: datetime = Field(description="When.")
    kind: EventKind = Field(description="What.")
    told: str = Field(default="", description="More of it, for people.")
