"""What became of the rolls in the store, and what is missing there. Lengths in m are exact to the µm."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from pydantic import Field

from app.contracts.base import ZERO, Contract, Number


class RollPart(Contract):
    """A part of a roll, in the order in which it unwinds."""

    part: str = Field(
        description="web: it ran; cut out: a defect, and what is given up before it; core tail; scrap: a "
        "rest too short to be kept; stub: a rest that is back in the store."
    )
    from_m: Number = Field(description="Where on the roll it begins.")
    to_m: Number = Field(description="Where it ends.")
    length_m: Number = Field(description="How long it is.")
    line: str | None = Field(description="The line it ran on; none: it did not run.")
    web_from_m: Number | None = Field(description="Where on that line's web it begins.")
    web_to_m: Number | None = Field(description="Where it ends there.")


class UsedRoll(Contract):
    """A roll that something was taken of. Its parts are as long as the roll."""

    roll: str = Field(description="Its number.")
    substrate: str = Field(description="Its stock.")
    width_mm: Number = Field(description="Its width in the store.")
    slit_to_mm: Number | None = Field(
        description="The width that it was slit down to before it was mounted; none: it was not slit."
    )
    length_m: Number = Field(description="Metres on it.")
    location: str = Field(description="Where it lay.")
    parts: tuple[RollPart, ...] = Field(description="What became of it.")

    @property
    def mounted_mm(self) -> Decimal:
        """How wide it was on the unwind."""
        return self.width_mm if self.slit_to_mm is None else self.slit_to_mm

    def part_m(self, part: str) -> Decimal:
        """Metres of one kind of part."""
        return sum((each.length_m for each in self.parts if each.part == part), ZERO)


class UnopenedRoll(Contract):
    """A roll that nothing was taken of."""

    roll: str = Field(description="Its number.")
    substrate: str = Field(description="Its stock.")
    width_mm: Number = Field(description="Its width.")
    length_m: Number = Field(description="Metres on it.")
    location: str = Field(description="Where it lies.")
    reserved_for: str | None = Field(description="The only job that may take it; none: any.")
    on_unwind: str | None = Field(description="The line on whose unwind it is; none: on none.")
    arrives: datetime | None = Field(description="When it can be used; none: it is there.")


class MissingStock(Contract):
    """Rolls that do not suffice for what follows each other on one line on one stock."""

    line: str = Field(description="The line.")
    substrate: str = Field(description="The stock.")
    width_mm: Number = Field(description="Its width.")
    missing_m: Number = Field(description="Metres that further rolls must give.")
    job: str = Field(description="The first job they are missing for.")
    run: int = Field(description="Its run on the line, counted from 1; 0: what was on it before.")
    needed: datetime = Field(description="From when on they are missing.")
    proven: bool = Field(description="Whether it is proved that fewer would not do.")
