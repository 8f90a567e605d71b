"""Changeovers of the presets against what is usual: common practice, no source.

Each case is a queue of real jobs on a preset's line, costed by the account and checked independently.
The plain line lies inside the usual ranges; the hybrids inside or below, and where they lie below, the
preset's reason for a value behind it says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

import pytest

from app.contracts.jobs import Job, Layer, Version
from app.contracts.plant import Plant
from app.intake.findings import Findings
from app.intake.preset_plant import preset_plant
from app.intake.presets import PRESETS, reason_for
from app.translation.solving import Question
from solver.baselines import as_entered
from solver.sequence import Changeover, Run
from solver.weights import GOALS
from tests.published.accounts import costed

START = datetime.fromisoformat("2027-03-01T06:00:00+00:00")
HYBRIDS = PRESETS[1:]
_STOCK = {"eur_per_m2": 0.5, "widths": [{"width_mm": 330}, {"width_mm": 335}]}
_DIE = {"across": 3, "around": 3, "label_width_mm": 100, "gap_across_mm": 3, "cylinder": "M-96"}
TOOLS: dict[str, Any] = {
    "substrates": [
        {"code": "paper", "print_settings": "paper", "material_class": "paper", **_STOCK},
        {"code": "other paper", "print_settings": "paper", "material_class": "paper", **_STOCK},
        {"code": "film", "print_settings": "film", "material_class": "film", **_STOCK},
        {"code": "paper in rolls", "print_settings": "paper", "usual_roll_m": 500, **_STOCK},
    ],
    "cylinders": [{"id": f"M-{teeth}", "teeth": teeth, "pitch": "1/8 in"} for teeth in (96, 80)],
    "dies": [
        {"id": "die", **_DIE},
        {"id": "die on its cylinder", **_DIE},
        {"id": "die on another cylinder", **_DIE, "cylinder": "M-80"},
        {"id": "die of other lanes", **_DIE, "across": 4, "label_width_mm": 72, "gap_across_mm": 4},
    ],
    "consumables": [
        {"id": "red", "darkness": 0.6, "plate": True},
        {"id": "gloss", "anilox": "A"},
        {"id": "matt", "anilox": "A"},
        {"id": "tactile", "anilox": "B"},
        {"id": "tint", "darkness": 1, "anilox": "A"},
    ],
}


def line(preset: str) -> Plant:
    """A preset with tools of our own."""
    findings = Findings()
    made = preset_plant(preset, TOOLS, findings)
    assert made is not None, findings.faults
    return made[0]


@dataclass(frozen=True)
class Look:
    """What a job needs."""

    finish: str = "varnish:gloss"
    substrate: str = "paper"
    die: str = "die"
    width_mm: int = 330
    colours: str = ""
    quantity: int = 20_000

    def job(self, number: int) -> Job:
        layers = [Layer(kind="inkjet")] if self.colours else []
        kind, _, consumable = self.finish.partition(":")
        if kind:
            layers.append(Layer(kind=kind, consumable=consumable))
        return Job(
            job=f"J-{number}",
            substrate=self.substrate,
            die=self.die,
            colours=tuple(self.colours),
            finishes=tuple((layer,) for layer in layers),
            roll_width_mm=Decimal(self.width_mm),
            versions=(Version(version="only", quantity=self.quantity),),
        )


def runs_of(preset: str, *looks: Look, goal: str = "balanced") -> tuple[Run, ...]:
    """Jobs of these looks one after another."""
    jobs = [look.job(number) for number, look in enumerate(looks)]
    problem = Question(line(preset), jobs, START).problem
    sequence = costed(problem, as_entered(problem), GOALS[goal])
    assert len(sequence.runs) == len(looks), sequence.left_out
    return sequence.runs


def changeover(preset: str, before: Look, after: Look, goal: str = "balanced") -> Changeover:
    made = runs_of(preset, before, after, goal=goal)[1].changeover
    assert made is not None
    return made


def minutes(made: Changeover) -> float:
    return made.duration_ms / 60_000


def metres(made: Changeover) -> float:
    return made.waste_um / 1_000_000


@dataclass(frozen=True)
class Usual:
    """A range; what behind it may lie below it on a hybrid line, as patterns of plant paths."""

    least: float
    most: float
    below: tuple[str, ...] = ()

    def holds(self, preset: str, value: float) -> bool:
        if preset == "plain" or value > self.most:
            return self.least <= value <= self.most
        if value >= self.least:
            return True
        reasons = [reason_for(preset, path) or "" for path in self.below]
        return any("below" in reason.casefold() for reason in reasons)


FLEXO_REGISTER = "station_kinds.flexo.aspects[1].register_m"
DIE_REGISTER = "station_kinds.die-cut.aspects[0].register_m"
SETTLE, TOGETHER = "lines[0].settle_m", "lines[0].registers"

WHOLE: Mapping[str, tuple[Look, Look, Usual, Usual]] = {
    "a plate": (Look("spot:red"), Look("spot:red"), Usual(2, 6), Usual(10, 20, (FLEXO_REGISTER,))),
    "a wash-up between alike": (Look(), Look("varnish:matt"), Usual(8, 20), Usual(0, 0)),
    "a wash-up to a lighter one": (Look("varnish:tint"), Look(), Usual(8, 20), Usual(0, 5)),
    "a flexible die": (Look(), Look(die="die on its cylinder"), Usual(3, 8), Usual(5, 20)),
    "a magnetic cylinder": (
        Look(),
        Look(die="die on another cylinder"),
        Usual(6, 15),
        Usual(10, 25, (DIE_REGISTER,)),
    ),
    "nothing but the job": (Look(), Look(), Usual(0, 2), Usual(0, 5)),
}


@pytest.mark.parametrize("preset", PRESETS)
@pytest.mark.parametrize("change", WHOLE)
def test_a_changeover_takes_minutes_and_metres_that_are_usual(preset: str, change: str) -> None:
    before, after, usual_min, usual_m = WHOLE[change]
    made = changeover(preset, before, after)
    assert usual_min.holds(preset, minutes(made)), minutes(made)
    assert usual_m.holds(preset, metres(made)), metres(made)


@pytest.mark.parametrize("preset", PRESETS)
def test_another_stock_costs_one_web_path_and_5_to_15_m_to_settle(preset: str) -> None:
    path_m = float(line(preset).lines[0].stations[-1].position_m)
    assert 15 <= path_m <= 40
    made = changeover(preset, Look(), Look(substrate="other paper"))
    assert Usual(4, 12).holds(preset, minutes(made)), minutes(made)
    usual_m = Usual(path_m + 5, path_m + 15, (SETTLE,))
    assert usual_m.holds(preset, metres(made)), metres(made)


@pytest.mark.parametrize("preset", PRESETS)
def test_another_width_takes_5_to_15_minutes_more(preset: str) -> None:
    stock = changeover(preset, Look(), Look(substrate="other paper"))
    width = changeover(preset, Look(), Look(substrate="other paper", width_mm=335))
    usual = Usual(5, 15, ("station_kinds.splice table.aspects[1].minutes",))
    more = minutes(width) - minutes(stock)
    assert more > 0
    assert usual.holds(preset, more), more


@pytest.mark.parametrize("preset", PRESETS)
def test_another_slitting_pattern_takes_3_to_15_minutes_and_2_to_5_m_more(preset: str) -> None:
    die = changeover(preset, Look(), Look(die="die on its cylinder"), goal="least-waste")
    lanes = changeover(preset, Look(), Look(die="die of other lanes"), goal="least-waste")
    tasks_min = sum(task.duration_ms for stop in lanes.stops for task in stop.tasks) / 60_000
    die_min = sum(task.duration_ms for stop in die.stops for task in stop.tasks) / 60_000
    assert 3 <= tasks_min - die_min <= 15
    assert Usual(2, 5, (TOGETHER,)).holds(preset, metres(lanes) - metres(die)), metres(lanes)


@pytest.mark.parametrize("preset", PRESETS)
def test_another_anilox_takes_2_to_8_minutes_and_up_to_5_m_more(preset: str) -> None:
    same = changeover(preset, Look(), Look("varnish:matt"))
    other = changeover(preset, Look(), Look("varnish:tactile"))
    assert 2 <= minutes(other) - minutes(same) <= 8
    assert 0 <= metres(other) - metres(same) <= 5


@pytest.mark.parametrize(
    ("preset", "colours"),
    [("plain", ""), *((preset, colours) for preset in HYBRIDS for colours in ("", "CMYK"))],
)
def test_a_roll_end_takes_2_to_5_minutes_and_1_to_5_m(preset: str, colours: str) -> None:
    (run,) = runs_of(preset, Look(substrate="paper in rolls", colours=colours))
    assert run.roll_ends
    assert all(2 <= minutes(end.changeover) <= 5 for end in run.roll_ends)
    assert all(1 <= metres(end.changeover) <= 5 for end in run.roll_ends)


@pytest.mark.parametrize("preset", HYBRIDS)
def test_another_profile_takes_3_to_10_minutes_more_and_at_most_30_m(preset: str) -> None:
    stock = changeover(preset, Look(colours="CMYK"), Look(substrate="other paper", colours="CMYK"))
    profile = changeover(preset, Look(colours="CMYK"), Look(substrate="film", colours="CMYK"))
    usual = Usual(3, 10, ("station_kinds.inkjet.aspects[1].minutes",))
    assert usual.holds(preset, minutes(profile) - minutes(stock))
    assert metres(profile) - metres(stock) <= 30


@pytest.mark.parametrize("preset", HYBRIDS)
@pytest.mark.parametrize(
    ("colours", "slowest", "fastest"), [("CMYK", 30, 75), ("CMYKOV", 30, 75), ("CMYKW", 15, 38)]
)
def test_inkjet_runs_at_a_usual_speed_and_white_at_about_half(
    preset: str, colours: str, slowest: float, fastest: float
) -> None:
    (run,) = runs_of(preset, Look(colours=colours))
    assert slowest <= run.speed_um_min / 1_000_000 <= fastest


def test_flexo_runs_at_80_to_150_m_a_minute() -> None:
    (run,) = runs_of("plain", Look())
    assert 80 <= run.speed_um_min / 1_000_000 <= 150


@pytest.mark.parametrize(
    ("preset", "colours", "least", "most"),
    [("plain", "", 0.01, 0.03), ("hybrid", "CMYK", 0.005, 0.02), ("buffered-hybrid", "CMYK", 0.005, 0.02)],
)
@pytest.mark.parametrize("substrate", ["paper", "film"])
def test_inspection_rejects_a_usual_share_of_the_web(
    preset: str, colours: str, least: float, most: float, substrate: str
) -> None:
    (run,) = runs_of(preset, Look(substrate=substrate, colours=colours))
    rejected = 1 - run.good_um / run.web_um
    assert least <= rejected <= most * 1.001


EVERYTHING = Look("spot:red", "film", "die on another cylinder", 330, "CMYK")
SET_UPS = [
    (Look("spot:red", colours="CMYK"), after)
    for after in (
        Look("spot:red", colours="CMYK"),
        Look("spot:red", die="die on its cylinder", colours="CMYK"),
        Look("spot:red", "other paper", colours="CMYK"),
        Look("spot:red", "film", colours="CMYK"),
        EVERYTHING,
    )
]


@pytest.mark.parametrize(("before", "after"), SET_UPS)
def test_on_the_buffered_hybrid_a_set_up_costs_about_7_m_whatever_changes(before: Look, after: Look) -> None:
    made = changeover("buffered-hybrid", before, after, "least-waste")
    assert 6 <= metres(made) <= 9


def test_on_the_buffered_hybrid_three_set_ups_cost_about_20_m() -> None:
    first = Look("spot:red", colours="CMYK")
    runs = runs_of(
        "buffered-hybrid",
        first,
        Look("spot:red", die="die on its cylinder", colours="CMYK"),
        Look("spot:red", "other paper", die="die on its cylinder", colours="CMYK"),
        EVERYTHING,
        goal="least-waste",
    )
    waste_m = [metres(run.changeover) for run in runs[1:] if run.changeover]
    assert 18 <= sum(waste_m) <= 24
