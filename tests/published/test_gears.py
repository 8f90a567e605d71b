"""From teeth to repeat.

Circular pitch: common practice, no source; arithmetic exact (1 in = 25.4 mm). Module: gear geometry.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from solver.gears import EIGHTH_INCH, QUARTER_INCH, Pitch, PitchType, least_teeth, repeat_mm, repeat_um

MODULE_1 = Pitch(PitchType.MODULE, Fraction(1))
MODULE_1_5 = Pitch(PitchType.MODULE, Fraction(3, 2))


@pytest.mark.parametrize(
    ("teeth", "expected_mm", "expected_in"),
    [
        (60, "190.5", "7.5"),
        (72, "228.6", "9"),
        (79, "250.825", "9.875"),
        (82, "260.35", "10.25"),
        (96, "304.8", "12"),
        (112, "355.6", "14"),
        (120, "381", "15"),
        (144, "457.2", "18"),
    ],
)
def test_a_tooth_at_an_eighth_of_an_inch_is_3_175_mm(teeth: int, expected_mm: str, expected_in: str) -> None:
    assert repeat_mm(teeth, EIGHTH_INCH) == Fraction(expected_mm)
    assert repeat_mm(teeth, EIGHTH_INCH) == Fraction(expected_in) * Fraction("25.4")


@pytest.mark.parametrize(("teeth", "expected_mm"), [(40, "254"), (48, "304.8"), (60, "381")])
def test_a_tooth_at_a_quarter_of_an_inch_is_6_35_mm(teeth: int, expected_mm: str) -> None:
    assert repeat_mm(teeth, QUARTER_INCH) == Fraction(expected_mm)


@pytest.mark.parametrize(
    ("teeth", "pitch", "expected_mm"),
    [(96, MODULE_1, 301.59289474462014), (80, MODULE_1_5, 376.99111843077515)],
)
def test_a_tooth_of_a_module_is_pi_times_the_module(teeth: int, pitch: Pitch, expected_mm: float) -> None:
    assert repeat_mm(teeth, pitch) == pytest.approx(expected_mm, rel=1e-12)


def test_as_many_teeth_are_another_repeat_in_another_pitch() -> None:
    """96 teeth: 304.8 mm at 1/8 inch, 301.6 mm at module 1. Gear geometry, to the nearest µm."""
    assert repeat_um(96, EIGHTH_INCH) == 304_800
    assert repeat_um(96, MODULE_1) == 301_593


@pytest.mark.parametrize(
    ("wanted_um", "expected_teeth"), [(190_500, 60), (249_000, 79), (250_825, 79), (250_826, 80)]
)
def test_the_smallest_cylinder_is_the_first_that_holds_the_repeat(
    wanted_um: int, expected_teeth: int
) -> None:
    assert least_teeth(wanted_um, EIGHTH_INCH) == expected_teeth
