"""Gear pitches: from the teeth of a cylinder to its repeat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from solver.checks import Checks

MM_PER_INCH = Fraction(254, 10)


class PitchType(StrEnum):
    """The system a cylinder's gear is cut in."""

    CIRCULAR = "circular"
    """`value` inches of circumference a tooth, such as 1/8."""
    MODULE = "module"
    """`value` mm of diameter a tooth."""
    DIAMETRAL = "diametral"
    """`value` teeth an inch of diameter."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """A gear pitch: 96 teeth are 304.8 mm at 1/8 inch and 301.6 mm at module 1."""

    type: PitchType
    value: Fraction

    def __post_init__(self) -> None:
        checks = Checks("pitch")
        checks.positive_or_none("value", self.value)
        checks.done()

    @property
    def mm_per_tooth(self) -> Fraction | float:
        """Circumference a tooth: exact for circular pitch, a float where π enters."""
        match self.type:
            case PitchType.CIRCULAR:
                return MM_PER_INCH * self.value
            case PitchType.MODULE:
                return math.pi * float(self.value)
            case PitchType.DIAMETRAL:
                return math.pi * float(MM_PER_INCH / self.value)


EIGHTH_INCH = Pitch(PitchType.CIRCULAR, Fraction(1, 8))
QUARTER_INCH = Pitch(PitchType.CIRCULAR, Fraction(1, 4))


def repeat_mm(teeth: int, pitch: Pitch = EIGHTH_INCH) -> Fraction | float:
    """Repeat of a cylinder, in mm: teeth × 3.175 at 1/8 inch (common practice, exact arithmetic)."""
    return teeth * pitch.mm_per_tooth


def repeat_um(teeth: int, pitch: Pitch = EIGHTH_INCH) -> int:
    """Repeat to the nearest µm."""
    return round(repeat_mm(teeth, pitch) * 1000)


def least_teeth(repeat_um: int, pitch: Pitch = EIGHTH_INCH) -> int:
    """Teeth of the smallest cylinder that holds a repeat, in a pitch of exact arithmetic."""
    per_tooth = Fraction(pitch.mm_per_tooth)
    return math.ceil(Fraction(repeat_um, 1000) / per_tooth)
