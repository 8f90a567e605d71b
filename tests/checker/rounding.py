"""Rounding as the model fixes it."""

from __future__ import annotations

from fractions import Fraction
from math import floor

MS_PER_MIN = 60_000
MS_PER_H = 3_600_000


def half_up(value: Fraction) -> int:
    """The nearest integer; a half goes up."""
    return floor(value + Fraction(1, 2))


def ceil_div(numerator: int, denominator: int) -> int:
    """How many denominators it takes to cover the numerator."""
    return -(-numerator // denominator)
