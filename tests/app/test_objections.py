"""What of plant and jobs speaks against a release, and what does not."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.contracts.plant import Plant, Roll, StockedWidth
from app.contracts.releases import ObjectionKind
from app.services.objections import objections
from app.services.workshop import Workshop
from app.store import plants, records, sequences
from app.store.kinds import JOBS
from app.store.store import Store
from tests.app.databases import migrated_sqlite
from tests.app.released_floor import START, Floor, create, job, two_lines, undone

__all__ = ["migrated_sqlite"]


@pytest.fixture
def floor(tmp_path: Path, migrated_sqlite: Path) -> Iterator[Floor]:
    path = tmp_path / "press.db"
    shutil.copyfile(migrated_sqlite, path)
    store = Store(f"sqlite:///{path}")
    create(store)
    with undone(Workshop(store, now=lambda: START)) as running:
        yield running
    store.close()


def told(floor: Floor, sequence: str, *lines: str) -> list[str]:
    """What speaks against a release of a sequence."""
    origin = sequences.origin(floor.work, sequence)
    runs = sequences.runs_of(floor.work, origin.pk)
    return [each.told for each in objections(floor.shop, floor.work, origin, runs, lines or ("H1",))]


def with_roll(plant: Plant, **roll: Any) -> Plant:
    """The plant with a roll of its first stock in a width that no job takes."""
    first, *others = plant.substrates
    rolls = (Roll(id="R-1", length_m=Decimal(900), **roll),)
    stocked = first.model_copy(
        update={"widths": (*first.widths, StockedWidth(width_mm=Decimal(500), rolls=rolls))}
    )
    return plant.model_copy(update={"substrates": (stocked, *others)})


def test_what_was_sent_again_as_it_was_does_not_speak_against_a_release(floor: Floor) -> None:
    sequence = floor.keep({"H1": ("A", "B")})
    records.upsert(floor.work, JOBS, [job("A", revision=5)])
    assert told(floor, sequence) == []


def test_rolls_that_a_plan_did_not_look_at_do_not_count_as_changed(floor: Floor) -> None:
    """One is on the unwind of a line that was not planned, or out of date when the plan begins."""
    for roll in ({"on_unwind": "H2"}, {"best_before": "2027-02-01T00:00"}):
        plants.put(floor.work, with_roll(two_lines(), **roll))
        sequence = floor.keep({"H1": ("D", "E")}, planned=("H1",))
        records.upsert(floor.work, JOBS, [job("D", revision=5 + floor.numbers)])
        assert told(floor, sequence) == [], roll


def test_every_part_of_the_plant_that_has_changed_is_told(floor: Floor) -> None:
    sequence = floor.keep({"H1": ("A", "B")})
    plant = two_lines()
    hybrid, _ = plant.lines
    changed = with_roll(plant).model_copy(
        update={
            "lines": (hybrid.model_copy(update={"stop_min": Decimal(2)}),),
            "dies": (*plant.dies, plant.dies[0].model_copy(update={"id": "D-999"})),
            "late_eur": plant.late_eur + 1,
        }
    )
    plants.put(floor.work, changed)
    assert told(floor, sequence) == [
        "line H1 was changed",
        "line H2 is not there any more",
        "label stock PAPER-80 was changed",
        "die D-999 is new",
        "late_eur of the plant was changed",
    ]


def test_a_line_that_came_later_does_not_matter(floor: Floor) -> None:
    plant = two_lines()
    plants.put(floor.work, plant.model_copy(update={"lines": plant.lines[:1]}))
    sequence = floor.keep({"H1": ("A", "B")})
    plants.put(floor.work, plant)
    assert told(floor, sequence) == []


def test_lots_of_a_job_may_be_on_several_lines_as_long_as_no_label_is_twice(floor: Floor) -> None:
    floor.release({"H2": (("S", 9001, 20400), "C"), "H1": (("S", 1, 9000),)})
    same = floor.keep({"H1": (("S", 1, 9000), "A"), "H2": (("S", 9001, 20400),)})
    assert told(floor, same, "H1") == []
    whole = floor.keep({"H1": ("S", "A")})
    (why,) = told(floor, whole, "H1")
    assert why.startswith("S is run 1 of H2 too, by release ")
    origin = sequences.origin(floor.work, whole)
    (found,) = objections(floor.shop, floor.work, origin, sequences.runs_of(floor.work, origin.pk), ("H1",))
    assert (found.kind, found.job, found.lines) == (ObjectionKind.ON_ANOTHER_LINE, "S", ("H1",))
