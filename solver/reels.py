"""What a customer asks of finished reels: where splices may lie, and how the labels are wound."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class SpliceRule(StrEnum):
    """Where a splice may lie in a job's sellable web."""

    ANYWHERE = "anywhere"
    BETWEEN_VERSIONS = "between versions"
    NEVER = "never"
    """Not between its versions either: only on the set-up strip before it."""


class LeadingEdge(StrEnum):
    """The edge of a label that comes off its reel first."""

    HEAD = "head"
    FOOT = "foot"
    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Winding:
    """How labels are wound: print outwards or inwards, and which edge leads.

    Numbered positions are not kept: published charts number the edges differently.
    """

    outwards: bool
    leading_edge: LeadingEdge
