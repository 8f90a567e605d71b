"""A plant is taken apart into what is stored of it and put together again without a difference."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.contracts.base import Contract, at_site
from app.contracts.plant import Plant
from app.errors import NotStored, VersionConflict
from app.intake.queue import read_queue
from app.store import lines, plants, records
from app.store.kinds import DELIVERIES, ROLLS
from app.store.migrating import upgrade
from app.store.store import Actor, Store
from tests.app.store.things import ANN, MIS, SAMPLES, Clock, roll, sample_plant

FOREMAN = Actor("Ann", plant="new")


def sample(folder: str) -> Plant:
    """A sample's plant; that of the day with all its rolls."""
    at = SAMPLES / folder
    stock = at / "stock.csv"
    return read_queue(at / "plant.json", at / "jobs.csv", stock_path=stock if stock.exists() else None).plant


def on_site_clock(part: Any, zone: ZoneInfo) -> Any:
    """A stock, roll or site with the same moments, each with the site's offset."""
    if isinstance(part, tuple):
        return tuple(on_site_clock(item, zone) for item in part)
    if isinstance(part, Contract):
        return part.model_copy(update={name: on_site_clock(value, zone) for name, value in part})
    return at_site(part, zone).astimezone(zone) if hasattr(part, "astimezone") else part


@pytest.mark.parametrize("folder", ["small", "day"])
def test_a_plant_that_is_stored_and_read_is_the_same(store: Store, folder: str) -> None:
    plant = sample(folder)
    with store.writing(Actor("Ann")) as work:
        plants.create(work, "new", plant)
    with store.reading("new") as view:
        found = plants.whole(view)
    zone = plant.site.zone_info
    clocked = {name: on_site_clock(getattr(plant, name), zone) for name in ("site", "substrates")}
    expected = plant.model_copy(update=clocked)
    assert found == expected
    assert found.model_dump_json(by_alias=True) == expected.model_dump_json(by_alias=True)


@pytest.mark.parametrize("folder", ["small", "day"])
def test_storing_the_same_plant_again_changes_nothing(store: Store, folder: str) -> None:
    plant = sample(folder)
    with store.writing(Actor("Ann")) as work:
        plants.create(work, "new", plant)
        before = plants.setup_version(work)
    with store.writing(FOREMAN) as work:
        plants.put(work, plant)
        assert plants.setup_version(work) == before


def in_any_order(plant: Plant) -> dict[str, Any]:
    """A plant with its parts by their keys: what was there before keeps its place in a list."""
    lists = ("substrates", "dies", "cylinders", "consumables")
    sorted_lists = {name: sorted(getattr(plant, name), key=repr) for name in lists}
    return {**dict(plant), **sorted_lists}


def test_another_plant_file_leaves_nothing_of_the_old_one(store: Store) -> None:
    with store.writing(ANN) as work:
        plants.put(work, sample("day"))
        plants.put(work, sample_plant())
    with store.reading("here") as view, store.reading("elsewhere") as other:
        assert in_any_order(plants.whole(view)) == in_any_order(plants.whole(other))


def test_a_width_that_only_rolls_know_is_a_stocked_width(store: Store) -> None:
    with store.writing(MIS) as work:
        records.upsert(work, ROLLS, [roll(width_mm=180), roll("R-2", substrate="UNKNOWN")])
        plant = plants.whole(work)
    paper = plant.substrates[0]
    assert [width.width_mm for width in paper.widths] == [330, 180]
    assert [found.id for found in paper.widths[1].rolls] == ["R-1"]


def test_deliveries_of_a_file_have_the_same_numbers_every_time(store: Store) -> None:
    with store.reading("here") as view:
        found = [delivery.id for delivery in records.read_all(view, DELIVERIES)]
    assert found == ["PAPER-80 330 mm 1"]


def test_long_codes_make_numbers_that_still_differ(store: Store) -> None:
    paper, film = sample_plant().substrates
    codes = ["P" * 79 + end for end in "12"]
    twins = tuple(paper.model_copy(update={"code": code}) for code in codes)
    with store.writing(ANN) as work:
        plants.put(work, sample_plant().model_copy(update={"substrates": (*twins, film)}))
        found = [delivery.id for delivery in records.read_all(work, DELIVERIES)]
    assert len(set(found)) == 2
    assert max(len(number) for number in found) <= 80


def test_the_set_up_is_changed_by_who_read_its_version(store: Store) -> None:
    with store.writing(ANN) as work:
        read = plants.read_setup(work)
        dearer = read.item.model_copy(update={"note": "Dearer."})
        before = plants.setup_version(work)
        changed = plants.replace_setup(work, dearer, read.version)
        assert (changed.item, changed.version) == (dearer, read.version + 1)
        assert plants.setup_version(work) == before + 1
        with pytest.raises(VersionConflict):
            plants.replace_setup(work, dearer, read.version)


def test_a_name_is_given_once(store: Store) -> None:
    refused = pytest.raises(VersionConflict, match="plants “here” is there already")
    with refused, store.writing(Actor("Ann")) as work:
        plants.create(work, "here", sample_plant())
    with store.reading() as view:
        assert plants.names(view) == ("elsewhere", "here")
        with pytest.raises(NotStored):
            plants.read_setup(view)


def test_a_plant_made_by_another_process_is_seen(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'runwright.db'}"
    first, second = Store(address, Clock()), Store(address, Clock())
    upgrade(first.url)
    with pytest.raises(NotStored), second.reading("here") as view:
        plants.whole(view)
    with first.writing(Actor("Ann")) as work:
        plants.create(work, "here", sample_plant())
    with second.reading("here") as view:
        assert plants.whole(view).lines[0].id == "H1"
    first.close()
    second.close()


def test_lines_of_an_import_stand_as_the_file_says(store: Store) -> None:
    plant = sample_plant()
    line = plant.lines[0]
    moved = line.model_copy(update={"present": line.present.model_copy(update={"cold": False})})
    with store.writing(ANN) as work:
        plants.put(work, plant.model_copy(update={"lines": (plant.lines[1], moved)}))
        found = lines.read_all(work)
    assert [(stored.item.id, stored.version) for stored in found] == [("P1", 2), ("H1", 2)]
    assert found[1].item.present.cold is False
