"""Plant and jobs in the solver's units."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.jobs import DIE_CUT, INKJET, Job
from app.contracts.plant import AspectName, AspectRule, Plant
from app.contracts.sequences import Goal
from app.errors import BadInput
from app.translation import units
from app.translation.solving import Question
from solver import feasibility
from solver import plant as solver_plant
from solver.problem import Problem
from solver.weights import GOALS
from tests.app.queues import put, sample_plant

START = datetime(2027, 3, 1, 6)

JOB: dict[str, Any] = {
    "job": "J",
    "substrate": "PP-W60",
    "die": "D-102",
    "colours": ["C", "K"],
    "finishes": [
        [{"kind": "white", "consumable": "white-opaque"}],
        [{"kind": "inkjet"}],
        [{"kind": "varnish", "consumable": "varnish-gloss"}],
    ],
    "versions": [{"version": "A", "quantity": 1000}],
}


def translated(job: dict[str, Any] | None = None, **changes: Any) -> Problem:
    """The sample's plant with changed places, and one job."""
    plant = sample_plant()
    for place, new in changes.items():
        put(plant, place.replace("__", "."), new)
    return Question(Plant.model_validate(plant), [Job.model_validate(JOB | (job or {}))], START).problem


def test_the_words_of_the_contracts_are_those_of_the_solver() -> None:
    assert tuple(name.value for name in AspectName) == solver_plant.ASPECT_NAMES
    assert {rule.value for rule in AspectRule} == {rule.value for rule in solver_plant.AspectRule}
    assert {goal.value for goal in Goal} == set(GOALS)
    assert feasibility.DIE_CUT.kind == DIE_CUT


def test_lengths_times_speeds_and_rates_become_whole_um_and_ms() -> None:
    line = translated().plant.lines[0]
    assert line.stations[4].x_um == 21_500_000
    assert line.web_width_um == 340_000
    assert (line.stop_ms, line.hold_ms) == (30_000, 1_200_000)
    assert line.setup_speed_um_min == 20_000_000
    assert line.eur_per_ms == Fraction(180, 3_600_000)
    assert line.spoilage == {"film": Fraction(12, 1000), "paper": Fraction(8, 1000)}


@given(st.decimals(min_value=0, max_value=10_000, places=6))
def test_a_length_goes_there_and_back_unchanged(length_m: Decimal) -> None:
    assert units.m_from_um(units.um_from_m(length_m)) == length_m


@given(st.integers(min_value=0, max_value=10**12))
def test_minutes_are_given_back_to_the_ms(duration_ms: int) -> None:
    assert units.ms_from_min(units.min_from_ms(duration_ms)) == duration_ms


@pytest.mark.parametrize(
    ("teeth", "pitch", "repeat_um"),
    [
        (96, "1/8 in", 304_800),
        (79, "1/8 in", 250_825),
        (48, "1/4 in", 304_800),
        (96, "module 1", 301_593),
        (80, "module 1.5", 376_991),
        (96, "DP 24", 319_186),
    ],
)
def test_teeth_become_a_repeat_by_their_pitch(teeth: int, pitch: str, repeat_um: int) -> None:
    tool = {"id": "D-102", "teeth": teeth, "pitch": pitch, "across": 4, "around": 4, "label_width_mm": 72}
    problem = translated(dies__1=tool)
    assert problem.dies["D-102"].repeat_um == repeat_um


def test_a_die_takes_the_repeat_or_the_pitch_of_its_cylinder() -> None:
    assert translated().dies["D-101"].repeat_um == 304_800
    by_teeth = {
        "id": "D-102",
        "cylinder": "M-80",
        "teeth": 80,
        "across": 4,
        "around": 4,
        "label_width_mm": 72,
    }
    assert translated(dies__1=by_teeth).dies["D-102"].repeat_um == 254_000


def test_a_die_on_a_cylinder_of_another_repeat_is_refused() -> None:
    with pytest.raises(BadInput, match=r"D-101 has repeat 300000 µm, its cylinder M-96 304800 µm"):
        translated(dies__0__repeat_mm=300)


def test_a_station_says_only_what_differs_from_its_kind() -> None:
    problem = translated(
        lines__0__stations__1={
            "id": "flexo-1",
            "kind": "flexo",
            "position_m": 5,
            "does": ["white"],
            "guarded": False,
            "aspects": [{"name": "plate", "minutes": 9, "register_m": 8}],
        }
    )
    station = problem.plant.lines[0].stations[1]
    assert station.does == ("white",)
    assert not station.guarded
    assert station.reengage_um == 2_000_000
    minutes = {aspect.name: aspect.duration_ms / 60_000 for aspect in station.aspects}
    assert minutes == {"cylinder": 2.5, "plate": 9, "consumable": 8, "anilox": 2.5}


def test_layers_that_need_a_plate_get_one_of_the_jobs_own() -> None:
    layers = translated().jobs[0].layers
    assert [layer.plate for layer in layers] == ["J/1", "", ""]
    assert [layer.kind for layer in layers] == ["white", INKJET, "varnish"]
    assert layers[1].channels == frozenset("CK")


def test_what_a_job_leaves_open_is_the_plants() -> None:
    problem = translated(late_eur=99, overs_pct=4)
    job = problem.jobs[0]
    assert job.late_eur == 99
    assert job.late_eur_per_h == 25
    assert job.versions[0].overs == Fraction(4, 100)
    own = translated({"late_eur": 0, "versions": [{"version": "A", "quantity": 5, "overs_pct": 0}]})
    assert own.jobs[0].late_eur == 0
    assert own.jobs[0].versions[0].overs == 0


def test_dies_of_the_same_lanes_share_their_slit_layout() -> None:
    assert translated().jobs[0].slit_layout == "4 × 76"
    assert translated({"die": "D-101"}).jobs[0].slit_layout == "3 × 103"


def test_the_present_state_is_kept_as_the_solver_compares_it() -> None:
    line = translated(lines__0__present__free_at="2027-03-01T07:30").plant.lines[0]
    loaded = {station.station: station.tooling for station in line.present.loaded}
    assert loaded["rewinder"] == {"core": "76000"}
    assert loaded["slitter"] == {"slit_layout": "3 × 103"}
    assert (line.present.substrate, line.present.width_um) == ("PAPER-80", 330_000)
    assert line.present.free_at_ms == 90 * 60_000
    assert line.present.cold


def test_what_has_passed_counts_from_the_plans_start_but_a_due_time_stays() -> None:
    problem = translated(
        {"ready": "2027-02-28T06:00", "due": "2027-02-28T06:00"},
        substrates__0__widths__0__deliveries=[{"at": "2027-02-01T00:00", "length_m": 5}],
        lines__0__present__free_at="2027-02-28T06:00",
    )
    assert problem.jobs[0].ready_ms == 0
    assert problem.jobs[0].due_ms == -24 * 3_600_000
    assert problem.plant.substrates[0].widths[0].deliveries[0].at_ms == 0
    assert problem.plant.lines[0].present.free_at_ms == 0


def test_a_line_with_a_calendar_of_its_own_does_not_follow_the_plants() -> None:
    problem = translated(lines__0__calendar={})
    assert problem.plant.lines[0].calendar.closures == ()
    assert problem.plant.lines[1].calendar.closures != ()
