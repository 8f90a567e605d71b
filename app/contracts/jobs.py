"""Jobs and their versions."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from app.contracts.base import (
    Channel,
    Code,
    Contract,
    Count,
    CountOrZero,
    Euro,
    Millimetres,
    Moment,
    OversPercent,
    Word,
)

INKJET = "inkjet"
"""The layer that the inkjet prints."""

MOST_LAYERS = 8
"""Layers of a job, the inkjet's among them: what the solver takes."""

DIE_CUT = "die-cut"
"""What a die station does; no job names it as a layer."""


class Layer(Contract):
    """One thing put on or done to the label."""

    kind: Word = Field(description="What it is: inkjet, or white, spot, varnish, foil … as stations do them.")
    consumable: Word | None = Field(default=None, description="What is put on; none for the inkjet.")


class Version(Contract):
    """A SKU inside a job."""

    version: Code = Field(description="Its name inside the job.")
    quantity: Count = Field(description="Labels ordered.")
    overs_pct: OversPercent | None = Field(
        default=None, description="Labels made beyond the quantity; absent: the plant's."
    )
    max_quantity: Count | None = Field(default=None, description="Most labels that may be sent.")


class SpliceRule(StrEnum):
    """Where a splice may lie in a job's sellable web."""

    ANYWHERE = "anywhere"
    BETWEEN_VERSIONS = "between versions"
    NEVER = "never"


class LeadingEdge(StrEnum):
    """The edge of a label that comes off its reel first."""

    HEAD = "head"
    FOOT = "foot"
    LEFT = "left"
    RIGHT = "right"


class Winding(Contract):
    """How labels are wound on a customer's reel."""

    outwards: bool = Field(description="Whether the print faces outwards.")
    leading_edge: LeadingEdge = Field(description="The edge of a label that comes off the reel first.")


class Job(Contract):
    """Customer work that runs as one."""

    job: Code = Field(description="Its number.")
    customer: str = Field(default="", description="Who it is for.")
    substrate: Code = Field(description="Code of its label stock.")
    die: Code = Field(description="Number of its die.")
    colours: Annotated[tuple[Channel, ...], Field(description="Inkjet channels; none means no inkjet.")] = ()
    finishes: tuple[tuple[Layer, ...], ...] = Field(
        default=(),
        description="Groups of layers in laying order, the inkjet's among them; free order in a group.",
    )
    due: Moment | None = Field(default=None, description="When it ships; absent: never late.")
    ready: Moment | None = Field(
        default=None, description="When artwork, plates and die are all there; absent: they are."
    )
    full_reels: bool = Field(default=False, description="Whether the customer takes only full reels.")
    labels_per_reel: Count | None = Field(default=None, description="Labels on a customer's reel.")
    core_mm: Millimetres | None = Field(default=None, description="Bore of the reel's core.")
    roll_width_mm: Millimetres | None = Field(
        default=None, description="Width of roll to use; absent: the narrowest stocked one that holds it."
    )
    late_eur: Euro | None = Field(default=None, description="Price of missing the van; absent: the plant's.")
    late_eur_per_h: Euro | None = Field(
        default=None, description="Price of every hour beyond; absent: the plant's."
    )
    least_lot: Count | None = Field(
        default=None, description="Fewest labels of a lot it may be split into; absent: it is never split."
    )
    may_join: bool = Field(
        default=False,
        description="Whether it may run as one with a job made alike beside it, without a job change.",
    )
    splice_rule: SpliceRule = Field(
        default=SpliceRule.ANYWHERE,
        description="Where a splice may lie in its sellable web. never: not between its versions either.",
    )
    most_splices_a_reel: CountOrZero | None = Field(
        default=None, description="Splices that a customer's reel may have; absent: nobody counts."
    )
    largest_reel_mm: Millimetres | None = Field(
        default=None, description="Outside diameter that the customer's reels may have; absent: any."
    )
    winding: Winding | None = Field(default=None, description="How labels are wound; absent: not said.")
    versions: tuple[Version, ...] = Field(min_length=1, description="Its SKUs.")
