"""What really happened on the lines, as it is posted."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from app.contracts.base import Code, Contract, CountOrZero, Metres, OffsetMoment
from app.contracts.orders import LabelRange
from app.contracts.stored import Posted

Text = Annotated[str, Field(max_length=500)]


class VersionMade(Contract):
    """Labels made of a version."""

    version: Code = Field(description="The version's name in the job.")
    labels: CountOrZero = Field(description="Sellable labels.")


class PostedActual(Posted):
    """A run as it was: posted when it begins and again, with a higher revision, when it ends."""

    id: Code = Field(description="The sender's number of this run.")
    line: Code = Field(description="Where it ran.")
    job: Code = Field(description="The job.")
    lot: LabelRange | None = Field(default=None, description="The part of the job; absent: all of it.")
    changeover_start: OffsetMoment | None = Field(
        default=None, description="When its changeover began; absent: not recorded."
    )
    started: OffsetMoment = Field(description="When it began to print.")
    ended: OffsetMoment | None = Field(default=None, description="When it ended; absent: it is running.")
    good_m: Metres | None = Field(default=None, description="Sellable web; absent: not recorded.")
    waste_m: Metres | None = Field(
        default=None, description="Web lost, changeover and rejects together; absent: not recorded."
    )
    stops: CountOrZero | None = Field(default=None, description="Stops of the web; absent: not recorded.")
    versions: tuple[VersionMade, ...] = Field(
        default=(), max_length=10_000, description="Labels made, where they are counted."
    )
    note: Text = Field(default="", description="A remark of the crew.")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.ended is not None and self.ended < self.started:
            raise PydanticCustomError("order", "should end after it started: ended is before started")
        if self.changeover_start is not None and self.changeover_start > self.started:
            raise PydanticCustomError(
                "order", "should change over before it starts: changeover_start is after started"
            )
        return self
