"""What may be stored of what is sent, beside the sample day's plant."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from app.contracts.base import Contract
from app.contracts.plant import Plant
from app.contracts.posted_jobs import PostedJob
from app.contracts.stock_items import PostedDelivery, PostedRoll, PostedSubstrate
from app.contracts.tooling_items import PostedConsumable, PostedCylinder, PostedDie
from app.services.item_checks import ItemChecks, holders

SMALL = Path(__file__).parents[2] / "sample_data" / "small" / "plant.json"
ROLL: dict[str, Any] = {"id": "R-9", "substrate": "PAPER-80", "width_mm": 330, "length_m": 1000}
DIE: dict[str, Any] = {"id": "D-9", "repeat_mm": 304.8, "across": 3, "around": 2, "label_width_mm": 90}


@pytest.fixture
def plant() -> Plant:
    return Plant.model_validate_json(SMALL.read_text(encoding="utf-8"))


def found(plant: Plant, *items: Contract) -> list[tuple[str, str]]:
    checks = ItemChecks(plant, frozenset(item.id for item in items if isinstance(item, PostedRoll)))
    return [(each.field, each.right) for item in items for each in checks.of(item)]


def with_roll(plant: Plant, **values: Any) -> Plant:
    """The plant with a roll in the first width of its first stock."""
    document = plant.model_dump(by_alias=True, mode="json")
    width = document["substrates"][0]["widths"][0]
    width |= {"on_hand_m": None, "rolls": [{"id": "R-1", "length_m": 500} | values]}
    return Plant.model_validate(document)


def first_stock(plant: Plant) -> dict[str, Any]:
    substrate = plant.substrates[0]
    return {"substrate": substrate.code, "width_mm": substrate.widths[0].width_mm}


def test_what_fits_the_plant_is_taken(plant: Plant) -> None:
    roll = PostedRoll.model_validate(ROLL | first_stock(plant))
    delivery = PostedDelivery.model_validate(
        {"id": "V-1", "at": "2027-03-01T06:00Z", "length_m": 900} | first_stock(plant)
    )
    assert found(plant, roll, delivery, PostedDie.model_validate(DIE)) == []


def test_a_job_is_taken_before_its_die_and_its_stock_are_known(plant: Plant) -> None:
    job = PostedJob.model_validate(
        {"job": "J", "substrate": "?", "die": "?", "versions": [{"version": "A", "quantity": 1}]}
    )
    assert found(plant, job) == []


def test_a_roll_needs_a_stock_and_a_width_that_are_stored(plant: Plant) -> None:
    [(field, right)] = found(plant, PostedRoll.model_validate(ROLL | {"substrate": "NONE-SUCH"}))
    assert field == "substrate"
    assert right.startswith("unknown substrate")
    code = plant.substrates[0].code
    [(field, right)] = found(plant, PostedRoll.model_validate(ROLL | {"substrate": code, "width_mm": 77}))
    assert field == "width_mm"
    assert "known are" in right or "the nearest known one is" in right


def test_one_roll_is_on_an_unwind(plant: Plant) -> None:
    line = plant.lines[0].id
    stocked = with_roll(plant, on_unwind=line)
    new = PostedRoll.model_validate(ROLL | first_stock(plant) | {"on_unwind": line})
    assert found(stocked, new) == [("on_unwind", "roll R-1 is on it already")]
    taken_off = PostedRoll.model_validate(ROLL | first_stock(plant) | {"id": "R-1"})
    assert found(stocked, taken_off, new) == []
    other = PostedRoll.model_validate(ROLL | first_stock(plant) | {"id": "R-8", "on_unwind": line})
    assert found(plant, new, other) == [("on_unwind", "roll R-9 is on it already")]


def test_a_roll_is_on_a_line_of_the_plant(plant: Plant) -> None:
    roll = PostedRoll.model_validate(ROLL | first_stock(plant) | {"on_unwind": "NO-LINE"})
    [(field, right)] = found(plant, roll)
    assert field == "on_unwind"
    assert right.startswith("unknown line")


def test_flaws_lie_inside_their_roll(plant: Plant) -> None:
    flaws = [{"kind": "defect", "from_m": 990, "to_m": 1001}]
    roll = PostedRoll.model_validate(ROLL | first_stock(plant) | {"flaws": flaws})
    assert found(plant, roll) == [("flaws[0]", "should end within the roll's 1000 m")]


def test_a_stock_keeps_the_widths_of_its_rolls_and_leaves_their_metres_to_them(plant: Plant) -> None:
    stocked = with_roll(plant)
    code, width_mm = plant.substrates[0].code, plant.substrates[0].widths[0].width_mm
    without = PostedSubstrate.model_validate({"code": code, "eur_per_m2": 1, "widths": [{"width_mm": 77}]})
    assert found(stocked, without) == [("widths", f"should still have {width_mm} mm: rolls of it are stored")]
    with_metres = {"code": code, "eur_per_m2": 1, "widths": [{"width_mm": width_mm, "on_hand_m": 5}]}
    [(field, right)] = found(stocked, PostedSubstrate.model_validate(with_metres))
    assert field == "widths[0].on_hand_m"
    assert "follows from them" in right
    assert found(plant, PostedSubstrate.model_validate(with_metres)) == []
    doubled = with_metres | {"widths": [{"width_mm": 77}, {"width_mm": 77}]}
    assert found(plant, PostedSubstrate.model_validate(doubled)) == [
        ("widths[1].width_mm", "should be there once only")
    ]


def test_a_die_names_cylinders_that_are_stored_and_one_repeat(plant: Plant) -> None:
    [(field, right)] = found(plant, PostedDie.model_validate(DIE | {"cylinder": "NO-SUCH"}))
    assert field == "cylinder"
    assert right.startswith("unknown cylinder")
    twice = PostedDie.model_validate(DIE | {"teeth": 96, "pitch": "1/8 in"})
    assert [field for field, _ in found(plant, twice)] == ["teeth"]
    assert [field for field, _ in found(plant, PostedCylinder.model_validate({"id": "C"}))] == ["repeat_mm"]


def test_what_is_needed_is_not_removed(plant: Plant) -> None:
    stocked = with_roll(plant)
    substrate = PostedSubstrate.model_validate(
        {"code": plant.substrates[0].code, "eur_per_m2": 1, "widths": []}
    )
    assert any("1 rolls of" in holder for holder in holders(stocked, substrate))
    document = plant.model_dump(by_alias=True, mode="json")
    line = document["lines"][0]
    line["present"] = {"loaded": {"die": {"die": plant.dies[0].id}}}
    document["cylinders"] = [{"id": "C-1", "repeat_mm": 304.8}]
    document["dies"][0]["cylinder"] = "C-1"
    loaded = Plant.model_validate(document)
    die = PostedDie.model_validate(DIE | {"id": plant.dies[0].id})
    assert holders(loaded, die) == (f"it is loaded at die of line {plant.lines[0].id}",)
    cylinder = PostedCylinder.model_validate({"id": "C-1", "repeat_mm": 304.8})
    assert holders(loaded, cylinder) == (f"die {plant.dies[0].id} names it",)
    assert holders(plant, PostedConsumable.model_validate({"id": "NONE-SUCH"})) == ()
