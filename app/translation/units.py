"""Between the trade's units and the solver's: m, mm, min and € against µm, ms and fractions."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

UM_PER_M = 1_000_000
UM_PER_MM = 1_000
MS_PER_MIN = 60_000
MS_PER_H = 3_600_000
PLACES = Decimal("0.000001")
"""Times and money are given back to a millionth."""


def um_from_m(length_m: Decimal) -> int:
    """µm of a length in m, exact."""
    return _whole(length_m * UM_PER_M)


def um_from_mm(length_mm: Decimal) -> int:
    """µm of a length in mm, exact."""
    return _whole(length_mm * UM_PER_MM)


def um_min_from_m_min(speed_m_min: Decimal) -> int:
    """µm/min of a speed in m/min, exact."""
    return _whole(speed_m_min * UM_PER_M)


def ms_from_min(duration_min: Decimal) -> int:
    """Minutes to the nearest ms, halves up."""
    return int((duration_min * MS_PER_MIN).to_integral_value(ROUND_HALF_UP))


def share_from_pct(percent: Decimal) -> Fraction:
    """A share of 1 from percent, exact."""
    return Fraction(percent) / 100


def m_from_um(length_um: int) -> Decimal:
    """A length in m, exact."""
    return Decimal(length_um) / UM_PER_M


def mm_from_um(length_um: int) -> Decimal:
    """A length in mm, exact."""
    return Decimal(length_um) / UM_PER_MM


def min_from_ms(duration_ms: int | Fraction) -> Decimal:
    """A time in minutes, to a millionth."""
    return rounded(Fraction(duration_ms) / MS_PER_MIN)


def rounded(value: Fraction) -> Decimal:
    """A fraction to a millionth, halves up."""
    millionths = (value * 10**6 + Fraction(1, 2)).__floor__()
    return Decimal(millionths).scaleb(-6)


def _whole(value: Decimal) -> int:
    if value != value.to_integral_value():
        raise ValueError(f"{value} µm is not whole: contracts keep lengths to the µm")
    return int(value)
