"""A stock list beside a plant file says what is in the store now."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from app.contracts.plant import Roll, StockedWidth
from app.errors import BadInput, Fault
from app.intake.queue import Queue
from app.intake.sources import QueueSource, read_source
from app.services import planning
from app.translation.solving import Question
from tests.app.queues import SAMPLE, put, sample_files, sample_plant

HEADING = "code,width_mm,metres,roll,best_before,on_unwind,delivery_at,delivery_m\n"


def source(folder: Path, rows: str, **said: object) -> QueueSource:
    stock = folder / "stock.csv"
    stock.write_text(HEADING + rows, encoding="utf-8")
    return QueueSource(SAMPLE / "jobs.csv", SAMPLE / "plant.json", stock=stock, **said)  # type: ignore[arg-type]


def read(folder: Path, rows: str) -> Queue:
    return read_source(source(folder, rows))


def refused(given: QueueSource) -> list[Fault]:
    with pytest.raises(BadInput) as error:
        read_source(given)
    return list(error.value.faults)


def widths(queue: Queue, code: str) -> tuple[StockedWidth, ...]:
    return next(substrate.widths for substrate in queue.plant.substrates if substrate.code == code)


def test_it_takes_the_place_of_the_plants_own_stock(tmp_path: Path) -> None:
    queue = read(tmp_path, "PAPER-80,330,1500,R1,,,,\nPP-W60,330,2600,,,,,\n")
    roll = Roll(id="R1", length_m=Decimal(1500))
    assert widths(queue, "PAPER-80") == (StockedWidth(width_mm=Decimal(330), rolls=(roll,)),)
    assert widths(queue, "PP-W60") == (StockedWidth(width_mm=Decimal(330), on_hand_m=Decimal(2600)),)


def test_what_it_does_not_name_is_used_up_and_a_note_says_so(tmp_path: Path) -> None:
    queue = read(tmp_path, "PAPER-80,330,5000,,,,,\n")
    assert widths(queue, "PP-W60") == (StockedWidth(width_mm=Decimal(330), on_hand_m=Decimal(0)),)
    assert any("no row of PP-W60 in 330 mm: nothing of it is there" in note for note in queue.notes)


def test_stock_that_the_plant_does_not_follow_stays_unfollowed(tmp_path: Path) -> None:
    plant = sample_plant()
    del plant["substrates"][1]["widths"][0]["on_hand_m"]
    files = sample_files(tmp_path)
    files.write_plant(plant)
    stock = tmp_path / "stock.csv"
    stock.write_text(HEADING + "PAPER-80,330,5000,,,,,\n")
    queue = read_source(QueueSource(files.jobs, files.plant, stock=stock))
    assert widths(queue, "PP-W60") == (StockedWidth(width_mm=Decimal(330)),)


def test_it_may_bring_another_width(tmp_path: Path) -> None:
    queue = read(tmp_path, "PAPER-80,250,900,R1,,,,\nPAPER-80,330,5000,,,,,\nPP-W60,330,1,,,,,\n")
    assert [stocked.width_mm for stocked in widths(queue, "PAPER-80")] == [330, 250]


def test_a_stock_that_no_job_uses_is_fine_and_one_that_the_plant_does_not_know_is_not(tmp_path: Path) -> None:
    (fault,) = refused(source(tmp_path, "PAPER-90,330,1500,R1,,,,\n"))
    assert (fault.row, fault.field, fault.value) == (2, "code", "PAPER-90")
    plant = sample_plant()
    put(plant, "substrates", [*plant["substrates"], {**plant["substrates"][0], "code": "KRAFT"}])
    files = sample_files(tmp_path)
    files.write_plant(plant)
    rows = "KRAFT,330,1500,R1,,,,\nPAPER-80,330,5000,,,,,\nPP-W60,330,2600,,,,,\n"
    (tmp_path / "stock.csv").write_text(HEADING + rows)
    queue = read_source(QueueSource(files.jobs, files.plant, stock=tmp_path / "stock.csv"))
    assert [roll.id for roll in widths(queue, "KRAFT")[0].rolls] == ["R1"]


def test_faults_of_the_list_come_with_those_of_the_jobs(tmp_path: Path) -> None:
    given = source(tmp_path, "PAPER-90,330,-1,R1,,,,\n")
    jobs = tmp_path / "jobs.csv"
    jobs.write_text((SAMPLE / "jobs.csv").read_text(encoding="utf-8").replace("D-102", "D-9"))
    faults = refused(QueueSource(jobs, given.plant, stock=given.stock))
    assert {fault.field for fault in faults} == {"metres", "die"}


def test_a_roll_must_be_in_date_when_the_plan_begins(tmp_path: Path) -> None:
    rows = "PAPER-80,330,5000,R1,2027-03-01T07:00,,,\nPP-W60,330,2600,R2,,,,\n"
    assert read_source(source(tmp_path, rows)).plant.site.plan_from is not None
    later = datetime(2027, 3, 1, 7, 0)
    (fault,) = refused(source(tmp_path, rows, start=later))
    assert (fault.row, fault.field, fault.value) == (2, "best_before", "2027-03-01T07:00")


def test_without_a_start_in_plan_or_option_a_roll_must_be_in_date_now(tmp_path: Path) -> None:
    plant = sample_plant()
    del plant["site"]["plan_from"]
    files = sample_files(tmp_path)
    files.write_plant(plant)
    rows = "PAPER-80,330,5000,R1,2030-01-01,,,\nPP-W60,330,2600,,,,,\n"
    (tmp_path / "stock.csv").write_text(HEADING + rows)
    given = QueueSource(files.jobs, files.plant, stock=tmp_path / "stock.csv")
    assert read_source(given).jobs
    for year, is_fine in ((2029, True), (2031, False)):
        at = QueueSource(files.jobs, files.plant, stock=given.stock, now=datetime(year, 5, 1, tzinfo=UTC))
        assert bool(read_source(at).jobs if is_fine else not refused(at)) is is_fine


def test_a_roll_on_an_unwind_is_what_the_line_has_threaded_as_it_stands_now(tmp_path: Path) -> None:
    rows = "PAPER-80,330,5000,,,,,\nPP-W60,330,2600,R2,,P1,,\n"
    (fault,) = refused(source(tmp_path, rows))
    assert (fault.row, fault.field) == (3, "on_unwind")
    assert "PAPER-80 in 330 mm" in fault.right
    state = tmp_path / "state.json"
    state.write_text(json.dumps({"lines": {"P1": {"substrate": "PP-W60", "width_mm": 330}}}))
    queue = read_source(source(tmp_path, rows, state=state))
    assert widths(queue, "PP-W60")[0].rolls[0].on_unwind == "P1"


def test_rules_that_the_plant_does_not_give_are_told(tmp_path: Path) -> None:
    by_roll = read(tmp_path, "PAPER-80,330,5000,R1,,,,\nPP-W60,330,2600,,,,,\n")
    assert any("stock_rules is not in the plant" in note for note in by_roll.notes)
    whole = read(tmp_path, "PAPER-80,330,5000,,,,,\nPP-W60,330,2600,,,,,\n")
    assert not any("stock_rules" in note for note in whole.notes)


def test_a_plan_takes_what_the_rolls_give(tmp_path: Path) -> None:
    queue = read(tmp_path, "PAPER-80,330,5000,R1,,,,\nPP-W60,330,2000,R2,,,,\nPP-W60,330,600,R3,,,,\n")
    start = queue.plant.site.plan_from
    assert start is not None
    readiness = planning.check(Question(queue.plant, queue.jobs, start))
    on_hand_m = {need.substrate: need.on_hand_m for need in readiness.stocks}
    assert on_hand_m == {"PAPER-80": 4997, "PP-W60": 2594}
