"""What a plan rests on: where each value comes from, and how far the assumed ones move the result."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from pydantic import Field

from app.contracts.base import Contract, Number


class Origin(StrEnum):
    """Where a value comes from."""

    GIVEN = "given"
    ASSUMED = "assumed"
    LEARNED = "learned"


class Assumption(Contract):
    """One value of a plant that nobody at the site has said."""

    path: str = Field(description="Where it stands in the plant: lines[0].stations[2].position_m.")
    value: str = Field(description="The value, as text.")
    unit: str = Field(default="", description="Its unit: m, min, m/min, €/h …; empty where it has none.")
    origin: Origin = Field(default=Origin.ASSUMED, description="Where it comes from.")
    reason: str = Field(description="Why this value and no other.")

    @classmethod
    def at(cls, path: str, value: object, reason: str) -> Assumption:
        """A value that is assumed; its unit follows from the field's name."""
        return cls(path=path, value=value_text(value), unit=unit_of(path), reason=reason)


_UNITS = (
    ("_m_s2", "m/s²"),
    ("_m_min", "m/min"),
    ("_per_min", "/min"),
    ("eur_per_h", "€/h"),
    ("eur_per_day", "€/day"),
    ("eur_per_m2", "€/m²"),
    ("eur", "€"),
    ("_min", "min"),
    ("minutes", "min"),
    ("_um", "µm"),
    ("_mm", "mm"),
    ("_m", "m"),
    ("_pct", "%"),
)
"""Units by the end of a field's name, the longest first where one ends like another."""


def unit_of(path: str) -> str:
    """The unit of a value by the field it stands in, or the table whose entry it is."""
    for name in reversed(path.split(".")[-2:]):
        for ending, unit in _UNITS:
            if name.endswith(ending):
                return unit
    return ""


def value_text(value: object) -> str:
    """A value as people write it: 7 and 7.5, yes and no."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value)


class Swing(Contract):
    """How far a result moves when an assumed value is taken lower and higher.

    Values that stand for one thing move together: the positions of a line's stations, the speeds of
    an inkjet's channels. The first of them is the one that is shown.
    """

    assumption: Assumption = Field(description="The value, or the first of those that move together.")
    name: str = Field(description="What it is, for people.")
    values: int = Field(ge=1, description="How many values move together.")
    lower: str | None = Field(description="The lower value that was tried; none: it cannot be lower.")
    higher: str | None = Field(description="The higher value that was tried; none: it cannot be higher.")
    swing_eur: Number = Field(description="Dearest less cheapest outcome, the value as assumed among them.")
    swing_m: Number = Field(description="The same in metres of waste.")
    order_changes: bool = Field(description="Whether another order is best at one of the two.")
    left_out: int = Field(
        ge=0,
        description="Jobs more that cannot run at one of the two. Money and metres of such a value are not "
        "comparable and not part of the swing.",
    )

    @property
    def moves(self) -> bool:
        """Whether it matters at all."""
        return bool(self.swing_eur or self.swing_m or self.left_out or self.order_changes)


class AssumptionReport(Contract):
    """What was assumed, and which of it decides."""

    assumed: int = Field(ge=0, description="Assumed values that are numbers.")
    tried: int = Field(ge=0, description="How many of them were tried lower and higher.")
    swings: tuple[Swing, ...] = Field(description="Of those tried, most money first.")
    seconds: float = Field(ge=0, description="How long that took.")
    work: int = Field(ge=0, description="Orders costed.")

    @property
    def deciding(self) -> int:
        """How many of the values tried move money, metres, the order, or what can run."""
        return sum(swing.values for swing in self.swings if swing.moves)


class PlanAssumptions(Contract):
    """Everything that a plan assumes, and how far it moves the result."""

    assumptions: tuple[Assumption, ...] = Field(description="Every value nobody at the site has said.")
    report: AssumptionReport = Field(description="What they do to the plan.")
