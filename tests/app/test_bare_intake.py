"""A preset with nothing but a shop's own lists."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest

from app.contracts.plant import Plant
from app.contracts.sequences import Goal
from app.errors import BadInput
from app.intake.queue import BarePaths, Queue, read_bare_queue, read_queue
from app.services import planning
from app.translation.solving import Question
from tests.app.queues import Files, sample_plant
from tests.app.usual import FixedDefaults

JOBS = (
    "Job No;SKU;Qty;Material;Tool;Colors;Embellishments;Ship Date;Client\n"
    "J-1;A;5 000;PP-60;D-1;4c+W;varnish-matt;02.03.2027;Example Tea\n"
    "J-1;B;2 000;PP-60;D-1;4c+W;varnish-matt;02.03.2027;Example Tea\n"
    "J-2;A;8 000;PAPER;D-2;;spot:moss-green;02.03.2027;Example Care\n"
)
DIES = "number,teeth,across,around,label width,cylinder\nD-1,96,3,3,100,M-96\nD-2,80,4,4,72,\n"
STOCK = "code,width,metres\nPP-60,330,2600\nPAPER,330,4000\n"


def preset() -> Plant:
    """The lines of the sample without its stocks, tools and inks."""
    value = sample_plant() | {"substrates": [], "dies": [], "cylinders": [], "wash_ups": []}
    value["consumables"] = value["consumables"][:1]
    for line in value["lines"]:
        line["present"] = {"cold": True}
    return Plant.model_validate_json(json.dumps(value))


def lists(folder: Path, jobs: str = JOBS, dies: str = DIES, stock: str = STOCK) -> BarePaths:
    for name, text in (("jobs", jobs), ("dies", dies), ("stock", stock)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return BarePaths(folder / "jobs.csv", folder / "dies.csv", folder / "stock.csv")


def taken(folder: Path) -> Queue:
    return read_bare_queue(preset(), lists(folder), FixedDefaults())


def test_nine_columns_and_two_lists_make_a_queue_that_can_be_planned(tmp_path: Path) -> None:
    queue = taken(tmp_path)
    plan = planning.plan(Question(queue.plant, queue.jobs, datetime(2027, 3, 1, 6)), Goal.BALANCED, work=20)
    assert [len(job.versions) for job in queue.jobs] == [2, 1]
    assert plan.sequence.totals.jobs == 2


def test_consumables_that_jobs_name_are_added_to_those_of_the_preset(tmp_path: Path) -> None:
    queue = taken(tmp_path)
    assert [(consumable.id, consumable.plate) for consumable in queue.plant.consumables] == [
        ("white-opaque", True),
        ("varnish-matt", False),
        ("moss-green", True),
    ]


def test_every_value_that_no_list_gave_is_an_assumption_with_its_place(tmp_path: Path) -> None:
    queue = taken(tmp_path)
    by_path = {assumption.path: assumption for assumption in queue.assumptions}
    assert by_path["substrates[1].thickness_um"].value == "150"
    assert by_path["substrates[1].thickness_um"].reason == "thickness of PAPER"
    assert by_path["substrates[0].eur_per_m2"].unit == "€/m²"
    assert by_path["dies[1].pitch"].reason == "pitch of the trade"
    assert by_path["cylinders[0].pitch"].value == "1/8 in"
    assert by_path["consumables[2].plate"].value == "true"
    assert not any(path.endswith((".across", ".on_hand_m", ".code")) for path in by_path)


def test_faults_of_all_lists_are_told_at_once_and_a_list_that_is_refused_makes_no_others(
    tmp_path: Path,
) -> None:
    paths = lists(tmp_path, JOBS.replace("PAPER", "PAPRE"), DIES.replace("80", "x"), STOCK)
    with pytest.raises(BadInput) as refused:
        read_bare_queue(preset(), paths, FixedDefaults())
    assert [(Path(fault.file or "").name, fault.row, fault.field) for fault in refused.value.faults] == [
        ("dies.csv", 3, "teeth"),
        ("jobs.csv", 4, "substrate"),
    ]


def test_a_mapping_file_counts_for_every_list(tmp_path: Path) -> None:
    paths = lists(tmp_path, JOBS.replace("Client", "Kunde"), DIES, STOCK.replace("metres", "Bestand"))
    mapping = tmp_path / "mapping.json"
    mapping.write_text(json.dumps({"customer": "Kunde", "stock": {"metres": "Bestand"}}), encoding="utf-8")
    queue = read_bare_queue(
        preset(), BarePaths(paths.jobs, paths.dies, paths.stock, mapping), FixedDefaults()
    )
    assert [job.customer for job in queue.jobs] == ["Example Tea", "Example Care"]
    assert queue.plant.substrates[0].widths[0].on_hand_m == 2600


def test_a_plant_file_with_a_jobs_file_takes_a_mapping_too(files: Files) -> None:
    text = files.jobs.read_text(encoding="utf-8").replace("customer", "Kunde", 1)
    files.jobs.write_text(text, encoding="utf-8")
    mapping = files.folder / "mapping.json"
    mapping.write_text('{"customer": "Kunde", "jbo": "x"}', encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_queue(files.plant, files.jobs, mapping)
    assert [(fault.file, fault.field) for fault in refused.value.faults] == [(str(mapping), "jbo")]
    mapping.write_text('{"customer": "Kunde"}', encoding="utf-8")
    assert read_queue(files.plant, files.jobs, mapping).jobs[0].customer == "Example Tea"
