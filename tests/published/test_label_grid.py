"""Labels across and around, metres and minutes.

The grid is the definition of step and repeat; strokes × repeat and the slowest station are common
practice. All numbers are own examples, by exact arithmetic: a web of 330 mm, labels 100 × 80 mm with 80 in
running direction, 5 mm trim on each edge, 3 mm gaps, a cylinder of 79 teeth, 20,000 labels.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from solver.gears import repeat_um
from solver.jobs import Job, Layer, Version
from solver.layout import (
    MS_PER_MIN,
    label_pitch_um,
    labels_across,
    labels_around,
    printed_width_um,
    station_speed_um_min,
    version_run,
    web_width_needed_um,
)
from solver.plant import Consumable, Die, Line, Plant, Station, StockedWidth, Substrate
from solver.problem import Problem
from solver.sequence import Placement, Run
from tests.published.accounts import costed

UM_PER_M = 1_000_000
WEB_UM = 330_000
LABEL_WIDTH_UM, LABEL_HEIGHT_UM = 100_000, 80_000
EDGE_TRIM_UM, GAP_UM = 5_000, 3_000
LABELS = 20_000
DIE = Die("79 teeth", repeat_um(79), 3, 3, LABEL_WIDTH_UM, GAP_UM)
SEMI_ROTARY = Station("die", "semi-rotary die", 24_000_000, ("die-cut",), strokes_per_min=Fraction(180))


def _run_on(stations: tuple[Station, ...], layers: tuple[Layer, ...]) -> Run:
    """The example run, costed on a line of 150 m/min with these stations."""
    job = Job("example", (Version("only", LABELS),), "paper", DIE.id, tuple((layer,) for layer in layers))
    line = Line("line", stations, WEB_UM, WEB_UM, 150 * UM_PER_M, UM_PER_M, edge_trim_um=EDGE_TRIM_UM)
    plant = Plant(
        (line,),
        (Substrate("paper", Fraction(0), (StockedWidth(WEB_UM),)),),
        (DIE,),
        consumables=(Consumable("varnish"),),
    )
    placement = Placement(0, tuple(range(1, len(stations))))
    return costed(Problem(plant, (job,)), ((placement,),)).runs[0]


def test_three_labels_lie_across_and_three_around() -> None:
    assert labels_across(WEB_UM, LABEL_WIDTH_UM, GAP_UM, EDGE_TRIM_UM) == 3
    assert labels_around(repeat_um(79), LABEL_HEIGHT_UM, GAP_UM) == 3


def test_a_fourth_label_across_needs_a_web_of_419_mm() -> None:
    needed_um = 4 * LABEL_WIDTH_UM + 3 * GAP_UM + 2 * EDGE_TRIM_UM
    assert needed_um == 419_000
    assert labels_across(needed_um - 1, LABEL_WIDTH_UM, GAP_UM, EDGE_TRIM_UM) == 3
    assert labels_across(needed_um, LABEL_WIDTH_UM, GAP_UM, EDGE_TRIM_UM) == 4


def test_the_gap_around_is_what_the_labels_leave_of_the_repeat() -> None:
    assert float(label_pitch_um(DIE) - LABEL_HEIGHT_UM) / 1000 == pytest.approx(3.6083333333333343)


def test_three_labels_need_316_mm_of_web() -> None:
    assert printed_width_um(DIE) == 306_000
    assert web_width_needed_um(DIE, EDGE_TRIM_UM) == 316_000


def test_rows_of_three_take_557_417_m() -> None:
    rows = -(-LABELS // DIE.across)
    assert rows == 6667
    assert float(rows * label_pitch_um(DIE)) / UM_PER_M == pytest.approx(557.4167583333333, rel=1e-12)


def test_whole_repeats_take_557_583975_m() -> None:
    run = version_run(
        Job("any", (Version("only", LABELS),), "", ""), Version("only", LABELS), DIE, Fraction(0)
    )
    assert run.good_um == 557_583_975
    assert run.good_um == 2223 * DIE.repeat_um
    assert run.web_um == run.good_um


def test_the_labels_use_87_percent_of_the_web() -> None:
    used = DIE.across * DIE.around * LABEL_WIDTH_UM * LABEL_HEIGHT_UM / (WEB_UM * DIE.repeat_um)
    assert used == pytest.approx(0.8698567454672309, rel=1e-9)


def test_a_run_on_the_line_is_as_long_as_its_whole_repeats() -> None:
    run = _run_on((Station("splice table", "splice table", 0), SEMI_ROTARY), ())
    assert run.good_um == 557_583_975


def test_the_slowest_station_used_sets_the_speed() -> None:
    """Inkjet 50, flexo 120, die 45 m/min: 557.41675833 m take 12.387039 min."""
    inkjet = Station(
        "inkjet",
        "inkjet",
        12_000_000,
        ("inkjet",),
        channel_speed_um_min={"K": 50 * UM_PER_M},
        channels=frozenset("K"),
    )
    flexo = Station("flexo", "flexo", 21_000_000, ("varnish",), max_speed_um_min=120 * UM_PER_M)
    die = Station("die", "die", 24_000_000, ("die-cut",), max_speed_um_min=45 * UM_PER_M)
    run = _run_on(
        (Station("splice table", "splice table", 0), inkjet, flexo, die),
        (Layer("inkjet", channels=frozenset("K")), Layer("varnish", "varnish")),
    )
    assert run.speed_um_min == 45 * UM_PER_M
    assert 557.41675833 * UM_PER_M / run.speed_um_min == pytest.approx(12.387039074, abs=1e-6)
    assert run.run_ms / MS_PER_MIN == pytest.approx(557.583975 / 45, abs=1e-5)


def test_a_job_does_not_inherit_the_speed_of_a_station_it_does_not_use() -> None:
    slow = Station("flat-bed foil", "foil", 21_000_000, ("foil",), max_speed_um_min=10 * UM_PER_M)
    fast = Station("die", "die", 24_000_000, ("die-cut",), max_speed_um_min=120 * UM_PER_M)
    table = Station("splice table", "splice table", 0)
    job = Job("plain", (Version("only", LABELS),), "paper", DIE.id)
    line = Line("line", (table, slow, fast), WEB_UM, WEB_UM, 150 * UM_PER_M, UM_PER_M)
    plant = Plant((line,), (Substrate("paper", Fraction(0), (StockedWidth(WEB_UM),)),), (DIE,))
    run = costed(Problem(plant, (job,)), ((Placement(0, (2,)),),)).runs[0]
    assert run.speed_um_min == 120 * UM_PER_M


@pytest.mark.parametrize(("die_repeat_um", "expected_um_min"), [(250_825, 45_148_500), (127_000, 22_860_000)])
def test_a_semi_rotary_die_runs_its_strokes_times_the_repeat(
    die_repeat_um: int, expected_um_min: int
) -> None:
    """180 strokes a minute."""
    die = Die("any", die_repeat_um, 1, 1, LABEL_WIDTH_UM)
    assert station_speed_um_min(SEMI_ROTARY, die, frozenset()) == expected_um_min


def test_a_run_under_a_semi_rotary_die_takes_its_strokes() -> None:
    run = _run_on((Station("splice table", "splice table", 0), SEMI_ROTARY), ())
    assert run.speed_um_min == 45_148_500
    assert run.run_ms / MS_PER_MIN == pytest.approx(2223 / 180, abs=1e-5)
