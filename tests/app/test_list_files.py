"""Lists that are written are read back as what they were written from."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.contracts.jobs import Job
from app.contracts.plant import Plant
from app.documents.list_files import dies_list, jobs_list, stock_list
from app.intake.at_start import Beginning
from app.intake.dies_file import read_dies
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.intake.plant_file import read_plant
from app.intake.presets.usual_values import UsualValues
from app.intake.stock_now import with_stock_now

SAMPLES = Path(__file__).parents[2] / "sample_data"


def plant_of(name: str) -> Plant:
    plant = read_plant(SAMPLES / name / "plant.json", Findings())
    assert plant is not None
    return plant


def jobs_back(text: str, plant: Plant, folder: Path) -> tuple[Job, ...]:
    path = folder / "jobs.csv"
    path.write_text(text, encoding="utf-8", newline="")
    findings = Findings()
    jobs = read_jobs(path, plant, findings)
    assert findings.faults == []
    return jobs


def stock_back(text: str, plant: Plant, folder: Path) -> Plant:
    path = folder / "stock.csv"
    path.write_text(text, encoding="utf-8", newline="")
    findings = Findings()
    stocked = with_stock_now(plant, path, Beginning(), findings)
    assert findings.faults == []
    return stocked


@pytest.mark.parametrize("name", ["small", "day"])
def test_the_samples_jobs_come_back(name: str, tmp_path: Path) -> None:
    plant = plant_of(name)
    jobs = read_jobs(SAMPLES / name / "jobs.csv", plant, Findings())
    assert len(jobs) >= 4
    assert jobs_back(jobs_list(jobs), plant, tmp_path) == jobs


EVERYTHING: dict[str, Any] = {
    "job": "J-1; odd, “name”",
    "customer": "Fjällbär & Söhne, 100%",
    "substrate": "PAPER-80",
    "die": "D-101",
    "colours": ["C", "K", "M", "O", "W", "Y"],
    "finishes": [
        [{"kind": "white", "consumable": "white-opaque"}],
        [{"kind": "inkjet"}, {"kind": "spot", "consumable": "warm-red"}],
    ],
    "due": "2027-03-01T14:00:30+01:00",
    "ready": "2027-03-01T06:00+05:30",
    "full_reels": True,
    "labels_per_reel": 1000,
    "core_mm": 76.125,
    "roll_width_mm": 330,
    "late_eur": 0,
    "late_eur_per_h": 12.5,
    "least_lot": 500,
    "may_join": True,
    "splice_rule": "between versions",
    "most_splices_a_reel": 0,
    "largest_reel_mm": 300,
    "winding": {"outwards": False, "leading_edge": "left"},
    "versions": [
        {"version": "A", "quantity": 1000, "overs_pct": 2.375, "max_quantity": 1100},
        {"version": "0012", "quantity": 1000000},
    ],
}


def test_a_job_that_says_everything_comes_back(tmp_path: Path) -> None:
    job = Job.model_validate(EVERYTHING)
    left_open = set(Job.model_fields) - set(EVERYTHING)
    assert left_open == set()
    assert jobs_back(jobs_list([job]), plant_of("small"), tmp_path) == (job,)


def test_the_days_stock_comes_back_by_roll(tmp_path: Path) -> None:
    day = plant_of("day")
    findings = Findings()
    stocked = with_stock_now(day, SAMPLES / "day" / "stock.csv", Beginning(), findings)
    assert sum(len(width.rolls) for substrate in stocked.substrates for width in substrate.widths) > 20
    assert stock_back(stock_list(stocked.substrates), stocked, tmp_path) == stocked


def test_a_roll_that_says_everything_comes_back(tmp_path: Path) -> None:
    document = plant_of("small").model_dump(by_alias=True, mode="json")
    width = document["substrates"][0]["widths"][0]
    line = document["lines"][0]
    line["present"] = {"substrate": document["substrates"][0]["code"], "width_mm": width["width_mm"]}
    roll = {
        "id": "R-1",
        "length_m": 1234.567,
        "received": "2026-12-01T00:00+00:00",
        "best_before": "2030-01-01T00:00+00:00",
        "location": "Hall 2, A-02",
        "flaws": [{"kind": "splice", "from_m": 12.5}, {"kind": "defect", "from_m": 20, "to_m": 20.125}],
        "reserved_for": "J-1",
        "on_unwind": line["id"],
    }
    delivery = {"at": "2027-03-02T10:00+01:00", "length_m": 2000.5}
    width |= {"on_hand_m": None, "rolls": [roll], "deliveries": [delivery]}
    plant = Plant.model_validate(document)
    assert stock_back(stock_list(plant.substrates), plant, tmp_path) == plant


def test_the_days_dies_come_back_with_the_repeats_of_their_cylinders(tmp_path: Path) -> None:
    plant = plant_of("day")
    path = tmp_path / "dies.csv"
    path.write_text(dies_list(plant.dies, plant.cylinders), encoding="utf-8", newline="")
    findings = Findings()
    read = read_dies(path, UsualValues(), findings)
    assert findings.faults == []
    assert read is not None
    by_id = {cylinder.id: cylinder for cylinder in plant.cylinders}
    for before, after in zip(plant.dies, (filled.value for filled in read.dies), strict=True):
        cylinder = by_id[before.cylinder or ""]
        assert (after.teeth, after.pitch) == (cylinder.teeth, cylinder.pitch)
        given = {"teeth", "pitch", "repeat_mm"}
        assert after.model_dump(exclude=given) == before.model_dump(exclude=given)


def test_three_decimals_are_not_mistaken_for_thousands() -> None:
    job = Job.model_validate(EVERYTHING | {"core_mm": Decimal("76.125")})
    assert ",76.1250," in jobs_list([job])
