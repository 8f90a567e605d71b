"""Rolls between contracts and the solver, and in a plant's own file."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts.jobs import Job, LeadingEdge, SpliceRule, Winding
from app.contracts.plant import Flaw, FlawKind, Plant, Roll
from app.errors import BadInput
from app.intake.queue import read_queue
from app.services import planning
from app.translation.jobs import solver_job_of
from app.translation.plant import solver_plant_of
from app.translation.rolls import roll_contract, solver_roll_of
from app.translation.solving import Question
from app.translation.times import PlanClock
from solver import reels
from solver.plant import Delivery
from tests.app.queues import put, sample_files, sample_plant

ZONE = ZoneInfo("Europe/Berlin")
START = datetime(2027, 3, 1, 6, tzinfo=ZONE)
CLOCK = PlanClock.at(START, ZONE)
UM_PER_M = 10**6
MOMENTS = st.timedeltas(timedelta(days=-400), timedelta(days=400)).map(
    lambda ahead: START + timedelta(milliseconds=ahead // timedelta(milliseconds=1))
)


@st.composite
def rolls(draw: st.DrawFn) -> Roll:
    length_um = draw(st.integers(10**6, 5 * 10**9))
    edges = sorted(draw(st.lists(st.integers(1, length_um - 1), min_size=0, max_size=6, unique=True)))
    flaws = [
        Flaw(kind=FlawKind.DEFECT, from_m=metres(first), to_m=metres(last))
        if draw(st.booleans())
        else Flaw(kind=FlawKind.SPLICE, from_m=metres(first))
        for first, last in zip(edges[::2], edges[1::2], strict=False)
    ]
    on_unwind = draw(st.sampled_from((None, "H1")))
    return Roll(
        id=draw(st.sampled_from(("R-1", "4711/2"))),
        length_m=metres(length_um),
        received=draw(st.none() | MOMENTS),
        best_before=draw(st.none() | MOMENTS),
        location=draw(st.sampled_from(("", "Hall 2, A-03"))),
        flaws=tuple(flaws),
        reserved_for=draw(st.sampled_from((None, "J-9"))),
        on_unwind=on_unwind,
        arrives=None if on_unwind else draw(st.none() | MOMENTS.filter(lambda at: at > START)),
    )


def metres(length_um: int) -> Decimal:
    return Decimal(length_um) / UM_PER_M


@given(rolls())
def test_a_roll_comes_back_from_the_solver_as_it_went_in(roll: Roll) -> None:
    assert roll_contract(solver_roll_of(roll, CLOCK), CLOCK) == roll


@given(rolls())
def test_a_roll_comes_back_from_json_as_it_went_in(roll: Roll) -> None:
    assert Roll.model_validate_json(roll.model_dump_json()) == roll


def test_a_roll_whose_time_of_arrival_has_passed_is_there() -> None:
    roll = Roll(id="R", length_m=Decimal(5), arrives=START - timedelta(hours=1))
    assert solver_roll_of(roll, CLOCK).arrives_ms == 0


def with_width(**width: Any) -> Plant:
    plant = sample_plant()
    put(plant, "substrates.1.widths.0", {"width_mm": 330, **width})
    return Plant.model_validate_json(json.dumps(plant))


def test_a_width_that_is_followed_by_roll_has_what_its_rolls_give() -> None:
    plant = with_width(
        rolls=[{"id": "R", "length_m": 900}, {"id": "S", "length_m": 70, "reserved_for": "J-9"}]
    )
    (stocked,) = solver_plant_of(plant, CLOCK).substrates[1].widths
    assert stocked.on_hand_um == (897 + 67) * UM_PER_M
    (stocked,) = solver_plant_of(plant, CLOCK, {"J-1"}).substrates[1].widths
    assert (stocked.on_hand_um, len(stocked.rolls)) == (897 * UM_PER_M, 2)


def test_a_delivery_beside_rolls_is_taken_to_come_as_rolls_of_the_usual_length() -> None:
    deliveries = [{"at": "2027-03-01T08:00", "length_m": 4500}]
    plant = with_width(rolls=[{"id": "R", "length_m": 900}], deliveries=deliveries)
    (stocked,) = solver_plant_of(plant, CLOCK).substrates[1].widths
    assert [roll.length_um // UM_PER_M for roll in stocked.rolls] == [900, 2000, 2000, 500]
    assert len({roll.id for roll in stocked.rolls}) == 4
    assert stocked.deliveries == (Delivery(2 * 3_600_000, (4500 - 9) * UM_PER_M),)


def test_a_delivery_of_more_rolls_than_can_be_followed_is_refused() -> None:
    deliveries = [{"at": "2027-03-01T08:00", "length_m": 3_000_000}]
    plant = with_width(rolls=[{"id": "R", "length_m": 900}], deliveries=deliveries)
    with pytest.raises(BadInput, match="more than 1000 rolls"):
        planning.check(Question(plant, (), START))


def test_rules_of_stock_are_translated() -> None:
    plant = sample_plant() | {"stock_rules": {"least_stub_m": 80, "core_tail_m": 2.5, "open_eur": 1}}
    rules = solver_plant_of(Plant.model_validate_json(json.dumps(plant)), CLOCK).stock_rules
    assert (rules.least_stub_um, rules.core_tail_um) == (80 * UM_PER_M, 2_500_000)
    assert (float(rules.open_eur), float(rules.stub_eur), float(rules.age_eur_per_day)) == (1, 3, 0.01)
    assert rules.most_trim_um == 30_000


def test_what_a_customer_asks_of_reels_is_translated() -> None:
    asked = {
        "splice_rule": SpliceRule.BETWEEN_VERSIONS,
        "most_splices_a_reel": 1,
        "largest_reel_mm": Decimal(300),
        "winding": Winding(outwards=False, leading_edge=LeadingEdge.FOOT),
    }
    plant = Plant.model_validate_json(json.dumps(sample_plant()))
    job = Job.model_validate(
        {
            "job": "J",
            "substrate": "PAPER-80",
            "die": "D-101",
            "versions": [{"version": "v", "quantity": 10}],
            **asked,
        }
    )
    solved = solver_job_of(plant, job, CLOCK)
    assert (solved.splice_rule, solved.most_splices_a_reel) == (reels.SpliceRule.BETWEEN_VERSIONS, 1)
    assert solved.largest_reel_um == 300_000
    assert solved.winding == reels.Winding(outwards=False, leading_edge=reels.LeadingEdge.FOOT)


def faults_of(tmp_path: Path, *plant_rolls: dict[str, Any], **width: Any) -> list[tuple[str | None, str]]:
    plant = sample_plant()
    put(plant, "substrates.1.widths.0", {"width_mm": 330, "rolls": list(plant_rolls), **width})
    files = sample_files(tmp_path)
    files.write_plant(plant)
    try:
        read_queue(files.plant, files.jobs)
    except BadInput as error:
        return [
            ((fault.field or "").removeprefix("substrates[1].widths[0]."), fault.right)
            for fault in error.faults
        ]
    return []


def test_every_fault_of_a_plants_rolls_is_told_by_its_path(tmp_path: Path) -> None:
    faults = faults_of(
        tmp_path,
        {"id": "R", "length_m": 900, "on_unwind": "H9"},
        {"id": "R", "length_m": 900, "flaws": [{"kind": "defect", "from_m": 5}]},
        {"id": "S", "length_m": 900, "best_before": "2027-03-01T06:00", "on_unwind": "P1"},
        {"id": "T", "length_m": 900, "arrives": "2027-03-01T09:00", "on_unwind": "P1"},
        on_hand_m=5,
    )
    assert sorted(field for field, _ in faults if field) == [
        "on_hand_m",
        "rolls[0].on_unwind",
        "rolls[1].flaws[0]",
        "rolls[1].id",
        "rolls[2].best_before",
        "rolls[2].on_unwind",
        "rolls[3].arrives",
        "rolls[3].on_unwind",
        "rolls[3].on_unwind",
    ]


def test_a_plant_file_may_hold_rolls(tmp_path: Path) -> None:
    flaws = [{"kind": "splice", "from_m": 300}, {"kind": "defect", "from_m": 400, "to_m": 410}]
    assert (
        faults_of(tmp_path, {"id": "R", "length_m": 2600, "flaws": flaws}, {"id": "S", "length_m": 9}) == []
    )
