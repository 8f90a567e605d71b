"""Length and diameter of rolls, reels by lanes, splices.

Length and diameter: geometry of the annulus; the case 300/76.2/0.05 mm uses the numbers of a public
calculator page, the others are own examples. Reels and splices: own examples, by exact arithmetic.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.jobs import Job, Version
from solver.layout import full_reel_count, further_rolls, reel_diameter_um, roll_diameter_um, roll_length_um
from solver.plant import Aspect, AspectRule, Die, Line, Plant, Station, StockedWidth, Substrate
from solver.problem import Problem
from solver.sequence import Placement, Run
from tests.published.accounts import costed

UM_PER_M = 1_000_000
UM_PER_MM = 1_000


@pytest.mark.parametrize(
    ("outside_mm", "core_outside_mm", "thickness_mm", "expected_m"),
    [
        (300, 76.2, 0.05, 1322.509347877857),
        (250, 83, 0.14, 311.97698046211065),
        (600, 92, 0.135, 2045.1535464302617),
        (1000, 92, 0.16, 4867.190958390326),
    ],
)
def test_a_roll_is_as_long_as_its_annulus_over_its_thickness(
    outside_mm: float, core_outside_mm: float, thickness_mm: float, expected_m: float
) -> None:
    length_um = roll_length_um(outside_mm * UM_PER_MM, core_outside_mm * UM_PER_MM, thickness_mm * UM_PER_MM)
    assert length_um / UM_PER_M == pytest.approx(expected_m, rel=1e-9)


@pytest.mark.parametrize(
    ("length_m", "core_outside_mm", "thickness_mm", "expected_mm"),
    [
        (83.60833333333333, 83, 0.14, 147.62276612269488),
        (2000, 92, 0.14, 604.128357657415),
        (500, 83, 0.16, 329.7698645704501),
    ],
)
def test_a_roll_is_as_wide_as_its_length_makes_it(
    length_m: float, core_outside_mm: float, thickness_mm: float, expected_mm: float
) -> None:
    outside_um = roll_diameter_um(length_m * UM_PER_M, core_outside_mm * UM_PER_MM, thickness_mm * UM_PER_MM)
    assert outside_um / UM_PER_MM == pytest.approx(expected_mm, rel=1e-9)


def test_a_reel_of_1000_labels_measures_147_6_mm() -> None:
    """Labels every 83.608 mm (79 teeth, 3 around), 0.14 mm thick, on a 76 mm core with a 3.5 mm wall."""
    die = Die("79 teeth", 250_825, 3, 3, 100_000)
    job = Job("any", (Version("only", 1000),), "", die.id, core_um=76_000, labels_per_reel=1000)
    plant = Plant((), (), (die,), core_wall_um=3_500)
    outside_um = reel_diameter_um(plant, job, die, 140)
    assert outside_um is not None
    assert outside_um / UM_PER_MM == pytest.approx(147.62276612269488, rel=1e-9)


@pytest.mark.parametrize(
    ("rings", "expected_mm"), [(1, 261.1920132194554), (10, 2651.504199629785), (596, 311640.4620330372)]
)
def test_rings_of_web_sum_to_the_length_of_the_roll(rings: int, expected_mm: float) -> None:
    """Algebra: Σ π(d + (2i − 1)t) over N rings = π(D² − d²)/(4t) with D = d + 2Nt; d 83, t 0.14 mm."""
    length_um = roll_length_um(83_000 + 2 * rings * 140, 83_000, 140)
    assert length_um / UM_PER_MM == pytest.approx(expected_mm, rel=1e-9)
    assert length_um == pytest.approx(_rings_um(rings, 83_000, 140), rel=1e-9)


@given(rings=st.integers(1, 3000), core_um=st.integers(25_000, 170_000), thickness_um=st.integers(40, 400))
def test_the_ring_identity_holds_for_every_core_and_thickness(
    rings: int, core_um: int, thickness_um: int
) -> None:
    outside_um = core_um + 2 * rings * thickness_um
    assert roll_length_um(outside_um, core_um, thickness_um) == pytest.approx(
        _rings_um(rings, core_um, thickness_um), rel=1e-9
    )


@given(
    length_um=st.integers(0, 10**10), core_um=st.integers(25_000, 170_000), thickness_um=st.integers(40, 400)
)
def test_diameter_and_length_undo_each_other(length_um: int, core_um: int, thickness_um: int) -> None:
    outside_um = roll_diameter_um(length_um, core_um, thickness_um)
    assert roll_length_um(outside_um, core_um, thickness_um) == pytest.approx(length_um, rel=1e-9, abs=1)


def test_20_reels_on_3_lanes_become_21() -> None:
    """A rewinder drop gives one reel per lane: 20,000 labels at 1,000 a reel are 7 drops of 3."""
    assert full_reel_count(20_000, 1000, 3) == 21


def test_full_reels_send_5_percent_more_than_was_ordered() -> None:
    run = _run(
        Job("reels", (Version("only", 20_000),), "paper", "3 across", labels_per_reel=1000, full_reels=True)
    )
    version = run.versions[0]
    assert (version.target, version.reels, run.doffs) == (21_000, 21, 7)
    assert Fraction(version.target, version.quantity) - 1 == Fraction(5, 100)


def test_1240_m_from_rolls_of_500_m_take_3_rolls_and_2_splices() -> None:
    further = further_rolls(1240 * UM_PER_M, 500 * UM_PER_M)
    assert (further + 1, further) == (3, 2)


def test_a_run_of_1240_m_has_2_roll_ends() -> None:
    run = _run(Job("rolls", (Version("only", 3 * 1240),), "paper", "3 across"))
    assert (run.web_um, len(run.roll_ends)) == (1240 * UM_PER_M, 2)
    assert all(end.changeover.splice_um == UM_PER_M for end in run.roll_ends)


def _rings_um(rings: int, core_um: int, thickness_um: int) -> float:
    return math.fsum(math.pi * (core_um + (2 * ring - 1) * thickness_um) for ring in range(1, rings + 1))


def _run(job: Job) -> Run:
    """The job on a plain line with rolls of 500 m: 3 labels across, 1 m each, in a splice of 1 m."""
    roll = Aspect("roll", AspectRule.DIFFERS, 90_000)
    line = Line(
        "line",
        (
            Station("splice table", "splice table", 0, aspects=(roll,)),
            Station("die", "die", 24 * UM_PER_M, ("die-cut",)),
        ),
        web_width_um=330_000,
        print_width_um=330_000,
        max_speed_um_min=50 * UM_PER_M,
        setup_speed_um_min=20 * UM_PER_M,
        splice_um=UM_PER_M,
    )
    paper = Substrate("paper", Fraction(0), (StockedWidth(330_000),), usual_roll_um=500 * UM_PER_M)
    plant = Plant((line,), (paper,), (Die("3 across", UM_PER_M, 3, 1, 100_000),))
    return costed(Problem(plant, (job,)), ((Placement(0, (1,)),),)).runs[0]
