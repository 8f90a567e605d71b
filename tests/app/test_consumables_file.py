"""What a shop's list of consumables gives."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import CliRunner

from app.cli import commands
from app.contracts.plant import Consumable
from app.errors import BadInput, Fault
from app.intake.consumables_file import COLUMNS, read_consumables
from app.intake.findings import Findings
from app.intake.presets.usual_values import UsualValues
from app.intake.queue import Queue, read_bare_queue
from app.intake.sources import read_source
from tests.app.test_bare_intake import DIES, JOBS, STOCK, lists, preset
from tests.app.test_sources import BARE
from tests.app.usual import FixedDefaults
from tests.app.workbooks import write_workbook

FULL = "name,darkness,plate,anilox,max_speed_m_min,reel_m\n"


def list_file(folder: Path, text: str) -> Path:
    path = folder / "consumables.csv"
    path.write_text(text, encoding="utf-8")
    return path


def read(folder: Path, text: str) -> tuple[tuple[Consumable, ...] | None, list[Fault]]:
    findings = Findings()
    return read_consumables(list_file(folder, text), findings), findings.faults


def queue_with(folder: Path, text: str, defaults: FixedDefaults | UsualValues | None = None) -> Queue:
    """The bare lists, whose jobs name varnish-matt and moss-green; the preset has white-opaque."""
    paths = replace(lists(folder), consumables=list_file(folder, text))
    return read_bare_queue(preset(), paths, defaults or FixedDefaults())


def test_every_field_of_a_consumable_has_its_column() -> None:
    assert COLUMNS.known[0] == "name"
    assert set(COLUMNS.known[1:]) == set(Consumable.model_fields) - {"id"}


def test_a_row_gives_what_it_says_and_leaves_the_rest_unsaid(tmp_path: Path) -> None:
    consumables, faults = read(tmp_path, f"{FULL}gold-foil,0.2,yes,A-80,55.5,2000\nmoss-green,,no,,,\n")
    assert (faults, consumables is not None) == ([], True)
    full, part = consumables or ()
    assert full == Consumable(
        id="gold-foil",
        darkness=Decimal("0.2"),
        plate=True,
        anilox="A-80",
        max_speed_m_min=Decimal("55.5"),
        reel_m=Decimal(2000),
    )
    assert part.model_fields_set == {"id", "plate"}
    assert not part.plate


def test_shops_head_their_columns_as_they_like_in_csv_and_in_xlsx(tmp_path: Path) -> None:
    text = "Ink;Max Speed (m/min);Reel length;Flexo plate\nmoss-green;62,5;1 500;no\n"
    (of_csv,) = read(tmp_path, text)[0] or ()
    path = tmp_path / "consumables.xlsx"
    heading = ("Ink", "Max Speed (m/min)", "Reel length", "Flexo plate")
    write_workbook(path, [heading, ("moss-green", 62.5, 1500, False)])
    findings = Findings()
    assert read_consumables(path, findings) == (of_csv,)
    assert findings.faults == []
    assert (of_csv.max_speed_m_min, of_csv.reel_m) == (Decimal("62.5"), Decimal(1500))


@pytest.mark.parametrize(
    ("row", "field", "right"),
    [
        (",0,no,,,", "name", "must not be empty"),
        ("Moss: green,0,no,,,", "name", "without ; : and +"),
        ("moss-green,dark,no,,,", "darkness", "should be a number"),
        ("moss-green,1.5,no,,,", "darkness", "less than or equal to 1"),
        ("moss-green,0,perhaps,,,", "plate", "yes or no"),
        ("moss-green,0,no,,0,", "max_speed_m_min", "greater than 0"),
        ("moss-green,0,no,,,1.200", "reel_m", "could be 1200 or 1.2"),
    ],
)
def test_a_row_that_is_wrong_is_refused_by_field(tmp_path: Path, row: str, field: str, right: str) -> None:
    consumables, faults = read(tmp_path, f"{FULL}{row}\n")
    assert consumables is None
    assert [(fault.row, fault.field) for fault in faults] == [(2, field)]
    assert right in faults[0].right


def test_a_name_is_there_once(tmp_path: Path) -> None:
    consumables, faults = read(tmp_path, "name,plate\nmoss-green,yes\ngold,no\nmoss-green,no\n")
    assert consumables is None
    (fault,) = faults
    assert (fault.row, fault.field, fault.value) == (4, "name", "moss-green")
    assert "row 2 has it already" in fault.right


def test_headings_that_are_unknown_are_told_and_slips_of_the_pen_refused(tmp_path: Path) -> None:
    findings = Findings()
    path = list_file(tmp_path, "name,supplier\nmoss-green,Example Inks\n")
    assert read_consumables(path, findings) is not None
    assert findings.notes == [f"{path}: the column “supplier” is not known and not read."]
    (fault,) = read(tmp_path, "name,darknes\nmoss-green,0\n")[1]
    assert (fault.value, "darkness" in fault.right) == ("darknes", True)
    (fault,) = read(tmp_path, "plate\nyes\n")[1]
    assert (fault.field, fault.right) == ("name", "this column must be there")


def test_the_list_counts_and_what_it_leaves_out_is_filled_in_with_reasons(tmp_path: Path) -> None:
    queue = queue_with(tmp_path, "name,darkness,plate\nmoss-green,0.8,\nspare-red,,no\n")
    by_id = {consumable.id: consumable for consumable in queue.plant.consumables}
    assert list(by_id) == ["white-opaque", "moss-green", "spare-red", "varnish-matt"]
    assert (by_id["moss-green"].darkness, by_id["moss-green"].plate) == (Decimal("0.8"), True)
    assert not by_id["spare-red"].plate
    assumed = {a.path: a.reason for a in queue.assumptions if a.path.startswith("consumables")}
    assert assumed == {
        "consumables[1].plate": "spot moss-green",
        "consumables[2].darkness": " spare-red",
        "consumables[3].darkness": "varnish varnish-matt",
        "consumables[3].plate": "varnish varnish-matt",
    }


def test_the_list_counts_before_the_preset_and_leaves_it_what_it_does_not_say(tmp_path: Path) -> None:
    (before,) = preset().consumables
    queue = queue_with(tmp_path, "name,max_speed_m_min,anilox\nwhite-opaque,41,A-90\n")
    given = {"max_speed_m_min": Decimal(41), "anilox": "A-90"}
    assert queue.plant.consumables[0] == before.model_copy(update=given)
    assert queue.plant.consumables[0] != before
    assert not any(assumption.path.startswith("consumables[0]") for assumption in queue.assumptions)


def test_an_empty_cell_takes_the_usual_value_of_the_layer_the_jobs_name_it_in(tmp_path: Path) -> None:
    queue = queue_with(tmp_path, "name,reel_m\nvarnish-matt,900\n", UsualValues())
    varnish = next(consumable for consumable in queue.plant.consumables if consumable.id == "varnish-matt")
    usual = UsualValues().consumable("varnish", "varnish-matt").value
    assert varnish == usual.model_copy(update={"reel_m": Decimal(900)})
    assert (varnish.plate, UsualValues().consumable("", "varnish-matt").value.plate) == (False, True)


def test_a_finish_may_name_its_kind_alone_where_the_list_has_one_of_it(tmp_path: Path) -> None:
    paths = lists(tmp_path, JOBS.replace("varnish-matt", "varnish"))
    with pytest.raises(BadInput):
        read_bare_queue(preset(), paths, FixedDefaults())
    listed = replace(paths, consumables=list_file(tmp_path, "name\nvarnish-silk\n"))
    queue = read_bare_queue(preset(), listed, FixedDefaults())
    assert any("varnish:varnish-silk" in note for note in queue.notes)


def test_its_faults_are_told_with_those_of_the_other_lists(tmp_path: Path) -> None:
    paths = lists(tmp_path, JOBS, DIES.replace("80", "x"), STOCK)
    paths = replace(paths, consumables=list_file(tmp_path, "name,plate\nmoss-green,perhaps\n"))
    with pytest.raises(BadInput) as refused:
        read_bare_queue(preset(), paths, FixedDefaults())
    assert [(Path(fault.file or "").name, fault.row, fault.field) for fault in refused.value.faults] == [
        ("dies.csv", 3, "teeth"),
        ("consumables.csv", 2, "plate"),
    ]


def test_a_mapping_file_names_its_headings(tmp_path: Path) -> None:
    mapping = tmp_path / "mapping.json"
    own = {"consumables": {"name": "Farbe", "darkness": "Tiefe"}}
    mapping.write_text(json.dumps(own), encoding="utf-8")
    paths = replace(
        lists(tmp_path), mapping=mapping, consumables=list_file(tmp_path, "Farbe,Tiefe\nmoss-green,0.9\n")
    )
    queue = read_bare_queue(preset(), paths, FixedDefaults())
    assert {c.id: c.darkness for c in queue.plant.consumables}["moss-green"] == Decimal("0.9")


def test_a_source_with_a_preset_takes_the_list_and_assumes_less(tmp_path: Path) -> None:
    path = list_file(tmp_path, f"{FULL}signal-red,0.75,yes,A-7,80,\n")
    plain, queue = read_source(BARE), read_source(replace(BARE, consumables=path))
    idx = [consumable.id for consumable in queue.plant.consumables].index("signal-red")
    assert queue.plant.consumables[idx] == Consumable(
        id="signal-red", darkness=Decimal("0.75"), plate=True, anilox="A-7", max_speed_m_min=Decimal(80)
    )
    assert not any(assumption.path.startswith(f"consumables[{idx}].") for assumption in queue.assumptions)
    assert len(plain.assumptions) - len(queue.assumptions) == 2


def test_a_plant_file_does_not_take_the_list(tmp_path: Path) -> None:
    path = list_file(tmp_path, "name\nmoss-green\n")
    small = [
        f"--plant={BARE.jobs.parents[1]}/small/plant.json",
        f"--jobs={BARE.jobs.parents[1]}/small/jobs.csv",
    ]
    sequence = f"--sequence={path}"
    for command in (["plan"], ["cost", sequence], ["check"]):
        result = CliRunner().invoke(commands, [*command, *small, f"--consumables={path}"])
        assert result.exit_code == 2
        assert "--consumables" in result.stderr
        assert "goes with a preset" in " ".join(result.stderr.split())


def test_the_command_line_takes_the_list_with_a_preset(tmp_path: Path) -> None:
    path = list_file(tmp_path, "name,plate\nsignal-red,perhaps\n")
    options = [f"--{name}=sample_data/bare/{name}.csv" for name in ("jobs", "dies", "stock")]
    options += ["--preset=buffered-hybrid", "--start=2027-03-01T06:00"]
    refused = CliRunner().invoke(commands, ["check", *options, f"--consumables={path}"])
    assert (refused.exit_code, "should be yes or no" in " ".join(refused.stderr.split())) == (2, True)
    list_file(tmp_path, "name,plate\nsignal-red,yes\n")
    result = CliRunner().invoke(commands, ["check", *options, f"--consumables={path}"])
    assert result.exit_code == 0, result.output
