"""Webhooks: who wants to hear of what, and what became of every delivery.

Messages follow the Standard Webhooks specification: a body of `type`, `timestamp` and `data`, and the headers
`webhook-id`, `webhook-timestamp` and `webhook-signature`.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from app.contracts.base import Code, Contract, OffsetMoment
from app.contracts.stored import Stored

LONGEST_URL = 2000
Url = Annotated[str, StringConstraints(min_length=1, max_length=LONGEST_URL)]


class EventType(StrEnum):
    """What can be told."""

    JOB_ACCEPTED = "job.accepted"
    JOB_REFUSED = "job.refused"
    REQUEST_FINISHED = "request.finished"
    SEQUENCE_RELEASED = "sequence.released"
    RUN_STARTED = "run.started"
    RUN_FINISHED = "run.finished"
    JOB_RETIMED = "job.retimed"
    JOB_AT_RISK = "job.at-risk"


class NewWebhook(Contract):
    """A receiver that wants to hear of some events."""

    name: Code = Field(description="What people call it, such as MIS.")
    url: Url = Field(
        description="Where messages are posted to. Its host must be one of those that whoever runs the "
        "service allows in RUNWRIGHT_WEBHOOK_TARGETS."
    )
    types: tuple[EventType, ...] = Field(
        min_length=1, max_length=len(EventType), description="What it wants to hear of."
    )
    active: bool = Field(
        default=True,
        strict=True,
        description="Whether it is told anything. What has been told and not delivered yet waits meanwhile.",
    )

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        if len(set(self.types)) < len(self.types):
            raise PydanticCustomError("doubled", "types should be named once each")
        return self


class Webhook(NewWebhook):
    """The same under its id."""

    id: Code = Field(description="Its id.")


class StoredWebhook(Stored[Webhook]):
    """A webhook as it is kept, without its secret."""

    switched_off: str = Field(
        description="Why it was switched off by itself; empty: it was not, or somebody has changed it since."
    )


class DeliveryStatus(StrEnum):
    """How far the delivery of a message is."""

    PENDING = "pending"
    DELIVERED = "delivered"
    DEAD = "dead"


class WebhookDetail(StoredWebhook):
    """A webhook, and how its deliveries stand."""

    pending: int = Field(description="Deliveries that wait, for the first time or the next.")
    dead: int = Field(description="Deliveries that were given up.")
    failures: int = Field(description="Attempts that failed since one was answered well.")
    rests_until: datetime | None = Field(
        description="It asked to be left alone until then; none: it did not."
    )
    secret_made_at: datetime = Field(description="When its secret was made.")
    old_secret_until: datetime | None = Field(
        description="Until then the secret before signs too; none: there is none that does."
    )


class WebhookMade(Contract):
    """A new webhook with its secret, which is shown this once."""

    secret: str = Field(
        description="What messages are signed with, base64 behind whsec_; it cannot be read again."
    )
    shown: StoredWebhook = Field(description="What can be read of it later.")


class SecretMade(Contract):
    """A new secret of a webhook, shown this once."""

    secret: str = Field(
        description="What messages are signed with now, base64 behind whsec_; it cannot be read again."
    )
    old_secret_until: datetime = Field(description="Until then messages are signed with the one before too.")


class WebhookDelivery(Contract):
    """A message to one receiver, and what became of it."""

    id: Code = Field(description="Its id.")
    message: str = Field(description="webhook-id of the message: the same at every attempt.")
    type: str = Field(description="What it tells.")
    at: datetime = Field(description="When that happened.")
    status: DeliveryStatus = Field(description="pending, delivered or dead.")
    attempts: int = Field(description="How often it was tried since it was made or sent again.")
    due_at: datetime | None = Field(description="When it is tried next; none: it is not.")
    tried_at: datetime | None = Field(default=None, description="When it was tried last.")
    answered: int | None = Field(default=None, description="Status of the last answer; none: there was none.")
    told: str = Field(default="", description="What went wrong, or how the last answer began.")
    took_ms: int | None = Field(default=None, description="How long the last attempt took.")


class WebhookDeliveryDetail(WebhookDelivery):
    """A delivery with its message."""

    body: str = Field(description="The message as it is sent, letter by letter.")


class Resending(Contract):
    """Which of the deliveries that were given up are to be tried again."""

    since: OffsetMoment | None = Field(
        default=None, description="Those of what happened at this moment or later; absent: all."
    )


class Resent(Contract):
    """How many deliveries are tried again."""

    resent: int = Field(description="So many are pending again.")
