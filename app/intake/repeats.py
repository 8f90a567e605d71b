"""How long a repeat is, to look whether labels have room in it."""

from __future__ import annotations

import math
from decimal import Decimal

_MM_PER_INCH = 25.4
_CIRCULAR_INCH = {"1/8 in": 0.125, "1/4 in": 0.25}


def tooth_mm(pitch: str) -> float:
    """Circumference of one tooth in mm: module m is m mm of diameter a tooth, DP n n teeth an inch of it."""
    if pitch in _CIRCULAR_INCH:
        return _CIRCULAR_INCH[pitch] * _MM_PER_INCH
    system, number = pitch.split()
    size = float(number)
    if size == 0:
        return 0.0
    return math.pi * (size if system == "module" else _MM_PER_INCH / size)


def repeat_length_mm(repeat_mm: Decimal | None, teeth: int | None, pitch: str | None) -> Decimal | None:
    """The repeat to the µm; None where nothing says it."""
    if repeat_mm is not None:
        return repeat_mm
    if teeth is None or pitch is None:
        return None
    return round(Decimal(teeth * tooth_mm(pitch)), 3)
