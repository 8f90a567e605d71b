"""What a list may be asked for: a page, an order, a beginning, and values of fields."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from app.contracts.base import Code, Millimetres, OffsetMoment
from app.contracts.planning_requests import Priority, RequestStatus
from app.contracts.posted_jobs import JobStatus
from app.contracts.stored import MOST_A_PAGE, USUAL_PAGE
from app.security import Role
from app.store.listing import Query

_PAGE = ("limit", "cursor", "sort", "search")


class ListAsked(BaseModel):
    """A page of a list, whatever is listed."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    limit: int = Field(default=USUAL_PAGE, ge=1, le=MOST_A_PAGE, description="Items at most.")
    cursor: str | None = Field(
        default=None, max_length=2000, description="next_cursor of the page before; absent: the first page."
    )
    sort: str | None = Field(
        default=None,
        max_length=40,
        description="Field to sort by, - before it for the last first; absent: by what is asked for from or "
        "before a value, else by key. Not beside search.",
    )
    search: str | None = Field(
        default=None,
        min_length=1,
        max_length=80,
        description="How the key begins, capital and small letters alike; of jobs also the customer.",
    )

    @property
    def query(self) -> Query:
        """The same for the store."""
        filters = {name: value for name, value in self if name not in _PAGE and value is not None}
        return Query(filters, self.sort, self.search, self.cursor, self.limit)


class _ChangedAsked(ListAsked):
    changed_since: OffsetMoment | None = Field(default=None, description="Changed at or after this time.")


class JobsAsked(_ChangedAsked):
    """Jobs."""

    status: JobStatus | None = Field(default=None, description="open, cancelled or finished.")
    customer: str | None = Field(default=None, max_length=200, description="This customer's.")
    substrate: Code | None = Field(default=None, description="On this stock.")
    die: Code | None = Field(default=None, description="With this die.")
    due_from: OffsetMoment | None = Field(default=None, description="Due then or later.")
    due_before: OffsetMoment | None = Field(default=None, description="Due before then.")
    ready_before: OffsetMoment | None = Field(default=None, description="Ready before then.")


class SubstratesAsked(_ChangedAsked):
    """Substrates."""

    material_class: str | None = Field(default=None, max_length=80, description="Of this class.")


class RollsAsked(_ChangedAsked):
    """Rolls."""

    substrate: Code | None = Field(default=None, description="Of this stock.")
    width_mm: Millimetres | None = Field(default=None, description="Of this width.")
    on_unwind: Code | None = Field(default=None, description="On this line's unwind.")
    reserved_for: Code | None = Field(default=None, description="Reserved for this job.")


class DeliveriesAsked(_ChangedAsked):
    """Deliveries."""

    substrate: Code | None = Field(default=None, description="Of this stock.")
    at_from: OffsetMoment | None = Field(default=None, description="Usable then or later.")
    at_before: OffsetMoment | None = Field(default=None, description="Usable before then.")


class DiesAsked(_ChangedAsked):
    """Dies."""

    cylinder: Code | None = Field(default=None, description="Mounted on this cylinder.")


class ToolsAsked(_ChangedAsked):
    """Cylinders and consumables."""


class ActualsAsked(_ChangedAsked):
    """Runs as they were."""

    line: Code | None = Field(default=None, description="On this line.")
    job: Code | None = Field(default=None, description="Of this job.")
    started_from: OffsetMoment | None = Field(default=None, description="Started then or later.")
    started_before: OffsetMoment | None = Field(default=None, description="Started before then.")


class RequestsAsked(BaseModel):
    """Planning requests, the newest first."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    limit: int = Field(default=USUAL_PAGE, ge=1, le=MOST_A_PAGE, description="Requests at most.")
    cursor: str | None = Field(
        default=None, max_length=2000, description="next_cursor of the page before; absent: the first page."
    )
    status: RequestStatus | None = Field(
        default=None, description="queued, running, finished, cancelled, failed or dead."
    )
    priority: Priority | None = Field(default=None, description="overnight, usual or rush.")
    name: Code | None = Field(default=None, description="What people call it.")

    @property
    def query(self) -> Query:
        """The same for the store."""
        filters = {name: value for name, value in self if name not in _PAGE and value is not None}
        return Query(filters, cursor=self.cursor, limit=self.limit)


class UsersAsked(ListAsked):
    """Users."""

    role: Role | None = Field(default=None, description="Who have this role.")


class WebhooksAsked(ListAsked):
    """Webhooks."""

    search: str | None = Field(
        default=None, min_length=1, max_length=80, description="How the name begins, in any letters."
    )
    active: bool | None = Field(
        default=None, description="Those that are told things, or those that are not."
    )
