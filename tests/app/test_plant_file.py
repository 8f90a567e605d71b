"""What a plant file may hold, and what is said when it does not."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from app.errors import Fault
from app.intake.findings import Findings
from app.intake.plant_file import plant_schema, read_plant
from tests.app.queues import Files, put, sample_plant

SCHEMA = Path(__file__).parents[2] / "sample_data" / "plant.schema.json"


def faults_of(files: Files) -> tuple[Fault, ...]:
    findings = Findings()
    read_plant(files.plant, findings)
    return tuple(findings.faults)


def faults_when(files: Files, place: str, new: Any) -> tuple[Fault, ...]:
    plant = sample_plant()
    put(plant, place, new)
    files.write_plant(plant)
    return faults_of(files)


def test_the_sample_has_no_faults(files: Files) -> None:
    assert faults_of(files) == ()


@pytest.mark.parametrize(
    ("place", "new", "field", "value", "right"),
    [
        ("lines.0.web_width_mm", -1, "lines[0].web_width_mm", "-1", "greater than 0"),
        ("lines.0.web_width_mm", "340", "lines[0].web_width_mm", "340", "without quotes"),
        ("lines.0.web_width_mm", True, "lines[0].web_width_mm", "true", "integer, float"),
        ("lines.0.web_width_mm", 340.0001, "lines[0].web_width_mm", "340.0001", "3 decimal places"),
        ("lines.0.stop_min", -0.5, "lines[0].stop_min", "-0.5", "greater than or equal to 0"),
        ("lines.0.hands", 1.5, "lines[0].hands", "1.5", "integer"),
        ("lines.0.spoilage_pct.film", 100, "lines[0].spoilage_pct.film", "100", "less than 100"),
        ("lines.0.registers", "one by one", "lines[0].registers", "one by one", "'together' or 'in turn'"),
        ("lines.0.stop_minutes", 1, "lines[0].stop_minutes", None, "nearest known one is “stop_min”"),
        ("lines.0.stations.1.id", "flexo;1", "lines[0].stations[1].id", "flexo;1", "without ; : and +"),
        (
            "lines.0.stations.1.kind",
            "flexi",
            "lines[0].stations[1].kind",
            "flexi",
            "nearest known one is “flexo”",
        ),
        ("lines.0.stations.1.position_m", 13, "lines[0].stations[2].position_m", "12", "in web order"),
        ("lines.0.stations.0.position_m", 1, "lines[0].stations[0].position_m", "1", "should be 0"),
        ("lines.0.stations.2.id", "flexo-1", "lines[0].stations[2].id", "flexo-1", "once only"),
        ("lines.1.id", "H1", "lines[1].id", "H1", "once only"),
        ("lines.0.cold_after_min", 5, "lines[0].cold_after_min", "5", "at least hold_min"),
        ("lines.0.pull_back_zone", None, "lines[0].pull_back_zone", None, "beside pull_back_m"),
        ("lines.0.pull_back_zone.to_m", 6, "lines[0].pull_back_zone.to_m", "6", "at least from_m"),
        ("lines.0.present.substrate", "PAPER-81", "lines[0].present.substrate", "PAPER-81", "“PAPER-80”"),
        ("lines.0.present.width_mm", None, "lines[0].present.width_mm", None, "given together"),
        (
            "lines.0.present.thrown_off",
            ["flexo-9"],
            "lines[0].present.thrown_off[0]",
            "flexo-9",
            "unknown station",
        ),
        (
            "lines.0.present.loaded.inkjet",
            {"die": "D-101"},
            "lines[0].present.loaded.inkjet.die",
            "D-101",
            "at a inkjet station",
        ),
        (
            "lines.0.present.loaded.die.die",
            "D101",
            "lines[0].present.loaded.die.die",
            "D101",
            "nearest known one is “D-101”",
        ),
        ("site.zone", "Europe/Nowhere", "site.zone", "Europe/Nowhere", "time zone of the IANA list"),
        ("site.plan_from", "2027-02-30T06:00", "site.plan_from", "2027-02-30T06:00", "a date and time"),
        ("site.plan_from", "0001-01-01T00:00", "site.plan_from", "0001-01-01T00:00", "years 2000 to 2100"),
        ("calendar.shifts.0.from", "6:00", "calendar.shifts[0].from", "6:00", "time of day such as 06:00"),
        ("calendar.shifts.0.days", ["monday"], "calendar.shifts[0].days[0]", "monday", "'mon'"),
        (
            "calendar.closures.0.to",
            "2027-03-25T00:00",
            "calendar.closures[0].to",
            "2027-03-25T00:00:00",
            "later",
        ),
        (
            "station_kinds.flexo.aspects.0.name",
            "sleeve",
            "station_kinds.flexo.aspects[0].name",
            "sleeve",
            "'plate'",
        ),
        ("substrates.1.code", "PAPER-80", "substrates[1].code", "PAPER-80", "once only"),
        ("substrates.0.eur_per_m2", None, "substrates[0].eur_per_m2", "null", "should be"),
        ("dies.0.cylinder", "M-69", "dies[0].cylinder", "M-69", "nearest known one is “M-96”"),
        ("dies.0.teeth", 0, "dies[0].teeth", "0", "greater than or equal to 1"),
        ("dies.0.max_liner_um", 20, "dies[0].max_liner_um", "20", "not be below min_liner_um"),
        ("dies.0.cylinder", None, "dies[0].repeat_mm", None, "or a cylinder"),
        ("cylinders.0.pitch", "3/8 in", "cylinders[0].pitch", "3/8 in", "1/8 in, 1/4 in, module m"),
        ("cylinders.0.pitch", None, "cylinders[0].pitch", None, "beside teeth"),
        ("cylinders.0.repeat_mm", 304.8, "cylinders[0].teeth", "96", "not be given beside repeat_mm"),
        ("cylinders.0.teeth", None, "cylinders[0].repeat_mm", None, "or teeth with their pitch"),
        ("consumables.0.darkness", 1.5, "consumables[0].darkness", "1.5", "less than or equal to 1"),
        (
            "wash_ups.0.from",
            "foil-silver",
            "wash_ups[0].from",
            "foil-silver",
            "nearest known one is “foil-gold”",
        ),
    ],
)
def test_a_value_that_is_wrong_is_refused_by_place_and_value(
    files: Files, place: str, new: Any, field: str, value: str | None, right: str
) -> None:
    faults = faults_when(files, place, new)
    assert [(fault.field, fault.value) for fault in faults] == [(field, value)]
    assert right in faults[0].right
    assert faults[0].file == str(files.plant)


def test_a_wash_up_given_twice_is_refused(files: Files) -> None:
    plant = sample_plant()
    plant["wash_ups"].append(plant["wash_ups"][0])
    files.write_plant(plant)
    (fault,) = faults_of(files)
    assert (fault.field, fault.value) == ("wash_ups[2]", "foil-gold → varnish-gloss")


def test_what_must_be_given_is_named(files: Files) -> None:
    plant = sample_plant()
    del plant["lines"][0]["max_speed_m_min"]
    files.write_plant(plant)
    assert [str(fault) for fault in faults_of(files)] == [
        f"{files.plant}, lines[0].max_speed_m_min: must be given"
    ]


def test_all_faults_of_a_file_are_told_at_once(files: Files) -> None:
    plant = sample_plant()
    put(plant, "lines.0.web_width_mm", 0)
    put(plant, "lines.1.hands", 0)
    put(plant, "dies.1.across", 0)
    files.write_plant(plant)
    fields = {fault.field for fault in faults_of(files)}
    assert fields == {"lines[0].web_width_mm", "lines[1].hands", "dies[1].across"}


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("", "is not JSON"),
        ("{", "is not JSON"),
        ("[]", "should be an object"),
        ('{"a": 1, "a": 2}', "“a” twice"),
        ('{"late_eur": NaN}', "which is no number"),
        ('{"late_eur": 1e99999999999999999999}', "too many digits"),
        ('{"late_eur": ' + "9" * 5000 + "}", "too many digits"),
        ("[" * 100_000, "nested too deep"),
    ],
)
def test_text_that_is_no_plant_is_refused(files: Files, text: str, right: str) -> None:
    files.plant.write_text(text, encoding="utf-8")
    faults = faults_of(files)
    assert len(faults) == 1
    assert right in faults[0].right


def test_numbers_with_vast_or_tiny_exponents_are_refused_at_once(files: Files) -> None:
    text = json.dumps(sample_plant()).replace('"late_eur": 150', '"late_eur": 1e999999999')
    files.plant.write_text(
        text.replace('"core_wall_mm": 8', '"core_wall_mm": 1e-999999999'), encoding="utf-8"
    )
    assert {fault.field for fault in faults_of(files)} == {"late_eur", "core_wall_mm"}


def test_a_file_in_another_encoding_is_refused_with_its_line(files: Files) -> None:
    files.plant.write_bytes('{\n"note": "größer"}'.encode("latin-1"))
    (fault,) = faults_of(files)
    assert fault.right == "should be saved as UTF-8"
    assert fault.row == 2


def test_a_byte_order_mark_is_taken(files: Files) -> None:
    files.plant.write_bytes(b"\xef\xbb\xbf" + json.dumps(sample_plant()).encode())
    assert faults_of(files) == ()


def test_a_missing_file_and_a_folder_are_refused(files: Files, tmp_path: Path) -> None:
    findings = Findings()
    read_plant(tmp_path / "none.json", findings)
    read_plant(tmp_path, findings)
    assert [fault.right for fault in findings.faults] == ["no such file", "should be a file, is a folder"]


def test_the_committed_schema_is_current() -> None:
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == plant_schema()


def test_every_field_of_the_schema_is_described() -> None:
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    models = {"Plant": schema, **schema["$defs"]}
    bare = [
        f"{name}.{field}"
        for name, model in models.items()
        for field, description in model.get("properties", {}).items()
        if not description.get("description")
    ]
    assert bare == []
