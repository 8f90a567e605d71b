"""The indicators of ISO 22400-2:2014.

Availability APT/PBT, effectiveness PRI × PQ/APT, quality ratio GQ/PQ and OEE as their product: as
restated in OPC 40501-1, annex C.2.4. Set-up ratio AUST/(APT + AUST): from memory.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from solver.jobs import Job, Layer, Version
from solver.measures import Indicators, measure
from solver.plant import (
    Aspect,
    AspectRule,
    Consumable,
    Die,
    Line,
    LoadedStation,
    Plant,
    PresentState,
    Station,
    StockedWidth,
    Substrate,
)
from solver.problem import Problem
from solver.sequence import Placement
from tests.published.accounts import PLAIN_MONEY, costed

UM_PER_M = 1_000_000
MS_PER_MIN = 60_000


def test_the_formulas_give_the_shift_of_480_minutes() -> None:
    """Own example: PBT 480, AUST 96, ADET 24, APT 360 min; 50 m/min; PQ 15,300 m, GQ 14,535 m."""
    shift = Indicators(
        pbt_ms=480 * MS_PER_MIN,
        aust_ms=96 * MS_PER_MIN,
        adet_ms=24 * MS_PER_MIN,
        apt_ms=360 * MS_PER_MIN,
        planned_ms=Fraction(15_300, 50) * MS_PER_MIN,
        produced_um=15_300 * UM_PER_M,
        good_um=14_535 * UM_PER_M,
    )
    _assert_the_shift_of_480_minutes(shift)


def test_a_queue_that_runs_like_that_shift_has_its_indicators() -> None:
    """The same shift as two runs on the line.

    Wash-ups of 60 and 36 min; 8,000 and 7,300 m at 50 m/min of which 5 % are rejected; 38 and 16 doffs of a
    minute; the second job's plates come 24 min late.
    """
    problem = _shift_problem()
    order = ((Placement(0, (1, 2)), Placement(1, (1, 2))),)
    shift = measure(problem, costed(problem, order), PLAIN_MONEY).indicators
    assert shift.pbt_ms == 480 * MS_PER_MIN
    assert shift.aust_ms == 96 * MS_PER_MIN
    assert shift.adet_ms == 24 * MS_PER_MIN
    assert shift.apt_ms == 360 * MS_PER_MIN
    assert (shift.produced_um, shift.good_um) == (15_300 * UM_PER_M, 14_535 * UM_PER_M)
    _assert_the_shift_of_480_minutes(shift)


def test_the_classic_teaching_example_has_an_oee_of_0_7479() -> None:
    """480 min with 60 of breaks and 47 down, 1.0 s ideal, 19,271 made, 423 bad.

    A widely reproduced example; value from memory, arithmetic derived again. A piece stands for a µm.
    """
    shift = Indicators(
        pbt_ms=420 * MS_PER_MIN,
        aust_ms=0,
        adet_ms=47 * MS_PER_MIN,
        apt_ms=373 * MS_PER_MIN,
        planned_ms=Fraction(19_271 * 1000),
        produced_um=19_271,
        good_um=19_271 - 423,
    )
    assert shift.availability == pytest.approx(0.888095238095238, abs=1e-9)
    assert shift.effectiveness == pytest.approx(0.8610813226094728, abs=1e-9)
    assert shift.quality_ratio == pytest.approx(0.9780499195682631, abs=1e-9)
    assert shift.oee == pytest.approx(0.7479365079365079, abs=1e-9)


def _assert_the_shift_of_480_minutes(shift: Indicators) -> None:
    assert shift.availability == pytest.approx(0.75, abs=1e-9)
    assert shift.effectiveness == pytest.approx(0.85, abs=1e-9)
    assert shift.quality_ratio == pytest.approx(0.95, abs=1e-9)
    assert shift.oee == pytest.approx(0.605625, abs=1e-9)
    assert shift.setup_ratio == pytest.approx(0.21052631578947367, abs=1e-9)


def _shift_problem() -> Problem:
    line = Line(
        "line",
        (
            Station("splice table", "splice table", 0),
            Station("flexo", "flexo", 0, ("ink",), (Aspect("consumable", AspectRule.WASH_UP, 0),)),
            Station("die", "die", 0, ("die-cut",)),
        ),
        web_width_um=100_000,
        print_width_um=100_000,
        max_speed_um_min=50 * UM_PER_M,
        setup_speed_um_min=50 * UM_PER_M,
        doff_ms=MS_PER_MIN,
        default_spoilage=Fraction(5, 100),
        present=PresentState(loaded=(LoadedStation("flexo", {"consumable": "old"}),)),
    )
    plant = Plant(
        (line,),
        (Substrate("paper", Fraction(0), (StockedWidth(100_000),)),),
        (Die("one metre", UM_PER_M, 1, 1, 100_000),),
        consumables=(Consumable("old"), Consumable("red"), Consumable("blue")),
        wash_up_ms={("old", "red"): 60 * MS_PER_MIN, ("red", "blue"): 36 * MS_PER_MIN},
    )
    return Problem(plant, (_shift_job("red", 7_600, 200, 0), _shift_job("blue", 6_935, 434, 282)))


def _shift_job(ink: str, labels: int, labels_per_reel: int, ready_min: int) -> Job:
    return Job(
        ink,
        (Version("only", labels),),
        "paper",
        "one metre",
        ((Layer("ink", ink),),),
        labels_per_reel=labels_per_reel,
        ready_ms=ready_min * MS_PER_MIN,
    )
