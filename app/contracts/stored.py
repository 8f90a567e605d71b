"""What the store adds to a thing it holds, and its answers to writing and looking for things."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Generic, TypeVar

from pydantic import Field

from app.contracts.base import Contract

Item = TypeVar("Item", bound=Contract)

LARGEST_REVISION = 2**53
"""Beyond it JSON numbers are not exact everywhere."""

Revision = Annotated[int, Field(ge=0, le=LARGEST_REVISION, strict=True)]

MOST_A_PAGE = 200
USUAL_PAGE = 50
MOST_A_POST = 10_000
"""Items of one bulk request."""


class Posted(Contract):
    """What a system that owns things sends beside their content."""

    revision: Revision | None = Field(
        default=None,
        description="The sender's count of changes. An older one than is stored is refused, the same one "
        "changes nothing; absent: always taken.",
    )


class Stored(Contract, Generic[Item]):
    """A thing as it is stored."""

    item: Item = Field(description="Its content, as it may be sent again.")
    version: int = Field(ge=1, description="Counts every change from 1; the ETag of the thing.")
    updated_at: datetime = Field(description="When it was changed last.")


class Page(Contract, Generic[Item]):
    """A part of a list."""

    items: tuple[Item, ...] = Field(description="In the order that was asked for.")
    next_cursor: str | None = Field(description="What to ask the next page with; none: this is the last.")


class Done(StrEnum):
    """What became of an item that was sent."""

    CREATED = "created"
    UPDATED = "updated"
    UNCHANGED = "unchanged"
    REFUSED = "refused"


class Refusal(Contract):
    """One thing that is wrong with what was sent."""

    field: str | None = Field(default=None, description="Where it stands: items[3].versions[0].quantity.")
    value: str | None = Field(default=None, description="What was found there.")
    right: str = Field(description="What would be right.")


class Outcome(Contract):
    """What became of one item of a bulk request."""

    key: str = Field(description="The item's number or name.")
    done: Done = Field(description="What became of it.")
    version: int | None = Field(description="Its version now; none: it is not stored.")
    note: str | None = Field(default=None, description="What the sender should know of it.")
    errors: tuple[Refusal, ...] = Field(default=(), description="Why it was refused.")
    affects: tuple[str, ...] = Field(
        default=(), description="What is planned or running already and is touched by it, in words."
    )


class BulkOutcome(Contract):
    """What became of a bulk request; of one that is all or nothing only where all was taken."""

    created: int = Field(ge=0, description="Items that were new.")
    updated: int = Field(ge=0, description="Items that were changed.")
    unchanged: int = Field(ge=0, description="Items that were there already.")
    refused: int = Field(ge=0, description="Items that were not taken.")
    outcomes: tuple[Outcome, ...] = Field(description="Item by item, in the order sent.")


class Bulk(Contract, Generic[Item]):
    """Many items at once."""

    each: bool = Field(
        default=False,
        strict=True,
        description="false: all are taken or none. true: each is taken or refused by itself.",
    )
    items: tuple[Item, ...] = Field(
        min_length=1, max_length=MOST_A_POST, description="The items, each key once."
    )
