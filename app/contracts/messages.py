"""Messages to webhooks: what each type tells. That is ids and what has changed; more is there to be read."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Final, Generic, TypeVar

from pydantic import Field

from app.contracts.actuals import VersionMade
from app.contracts.base import ZERO, Contract, Number
from app.contracts.orders import LabelRange
from app.contracts.planning_requests import RequestStatus
from app.contracts.releases import Objection, ReleasedRun
from app.contracts.stored import Refusal
from app.contracts.webhooks import EventType

Told = TypeVar("Told", bound=Contract)


class Message(Contract, Generic[Told]):
    """A message as it is posted."""

    type: str = Field(description="What it tells.")
    timestamp: datetime = Field(description="When it happened, in UTC.")
    data: Told = Field(description="What happened.")


class JobAccepted(Contract):
    """A job that was not there before was taken."""

    job: str = Field(description="The job.")
    revision: int | None = Field(description="Its sender's count of changes; none: it sent none.")
    customer: str = Field(description="Whose work it is.")
    due: datetime | None = Field(description="When it ships; none: never late.")


class JobRefused(Contract):
    """A job of a post was refused, others of it were taken."""

    job: str = Field(description="The job.")
    errors: tuple[Refusal, ...] = Field(description="Why; of many faults the first.")


class RequestFinished(Contract):
    """Nothing more will be done for a planning request, unless somebody sends it again."""

    request: str = Field(description="The planning request's id.")
    name: str = Field(description="What people call it.")
    status: RequestStatus = Field(description="finished, cancelled, failed or dead.")
    sequence: str | None = Field(description="Id of the recommended sequence; none: there is none.")


class SequenceReleased(Contract):
    """A line is to run a sequence from now on."""

    release: str = Field(description="The release's id.")
    sequence: str = Field(description="The sequence's id.")
    sequence_name: str = Field(description="What people call that.")
    note: str = Field(description="Why it was released.")
    despite: tuple[Objection, ...] = Field(description="What spoke against it.")
    released_at: datetime = Field(description="When.")
    released_by: str = Field(description="By whom.")
    line: str = Field(description="The line.")
    runs: int = Field(description="How many runs it has there.")
    first_start: datetime | None = Field(description="When the first changeover starts; none: no run.")
    last_end: datetime | None = Field(description="When the last run ends; none: no run.")


class RunStarted(Contract):
    """A run has begun."""

    run: str = Field(description="The actual's id.")
    line: str = Field(description="Where.")
    job: str = Field(description="The job.")
    lot: LabelRange | None = Field(description="The part of the job; none: all of it.")
    changeover_start: datetime | None = Field(description="When its changeover began; none: not recorded.")
    started: datetime = Field(description="When it began to print.")


class RunFinished(RunStarted):
    """A run has ended."""

    ended: datetime = Field(description="When.")
    good_m: Number | None = Field(description="Sellable web; none: not recorded.")
    waste_m: Number | None = Field(description="Web lost; none: not recorded.")
    stops: int | None = Field(description="Stops of the web; none: not recorded.")
    versions: tuple[VersionMade, ...] = Field(description="Labels made, where they are counted.")


class JobRetimed(Contract):
    """A job is to run elsewhere or at other times than it was."""

    job: str = Field(description="The job.")
    released_before: tuple[ReleasedRun, ...] = Field(alias="from", description="Its runs until now.")
    released_now: tuple[ReleasedRun, ...] = Field(alias="to", description="Its runs from now on.")


class JobAtRisk(Contract):
    """A job may miss its press due: as released, or by what has really run."""

    job: str = Field(description="The job.")
    late: bool = Field(description="Whether it is to end after its press due, and not only shortly before.")
    line: str = Field(description="Where its last run is to be.")
    lot: LabelRange | None = Field(description="The part of the job; none: all of it.")
    changeover_start: datetime = Field(description="When its changeover is expected to start.")
    print_start: datetime = Field(description="When it is expected to print.")
    end: datetime = Field(description="When it is expected to end.")
    press_due: datetime = Field(description="When it must end to ship in time.")
    late_min: Number = Field(description="How much later it is expected to end.")
    delay_min: Number = Field(
        default=ZERO, description="How much later than released its line runs; 0: it does not."
    )


class WebhookTested(Contract):
    """Nothing has happened: somebody tests a webhook."""

    webhook: str = Field(description="The webhook's id.")


TEST: Final = "webhook.test"
"""Type of a message that tells of nothing but itself."""

TOLD: Final[Mapping[str, type[Contract]]] = {
    EventType.JOB_ACCEPTED.value: JobAccepted,
    EventType.JOB_REFUSED.value: JobRefused,
    EventType.REQUEST_FINISHED.value: RequestFinished,
    EventType.SEQUENCE_RELEASED.value: SequenceReleased,
    EventType.RUN_STARTED.value: RunStarted,
    EventType.RUN_FINISHED.value: RunFinished,
    EventType.JOB_RETIMED.value: JobRetimed,
    EventType.JOB_AT_RISK.value: JobAtRisk,
    TEST: WebhookTested,
}
"""What each type tells."""

MESSAGES: Final[Mapping[str, type[Contract]]] = {
    event_type: Message[told]  # type: ignore[valid-type]
    for event_type, told in TOLD.items()
}
"""Each type as it is posted."""
