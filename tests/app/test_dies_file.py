"""What a shop's die list gives."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from app.contracts.plant import Cylinder, Die
from app.errors import Fault
from app.intake.dies_file import DieList, read_dies
from app.intake.findings import Findings
from tests.app.usual import FixedDefaults

HEADING = (
    "number,teeth,repeat_mm,pitch,across,around,label_width_mm,label_height_mm,gap_around_mm,"
    "cylinder,copies\n"
)


def read(folder: Path, text: str) -> tuple[DieList | None, list[Fault]]:
    path = folder / "dies.csv"
    path.write_text(text, encoding="utf-8")
    findings = Findings()
    return read_dies(path, FixedDefaults(), findings), findings.faults


def taken(folder: Path, text: str) -> DieList:
    dies, faults = read(folder, text)
    assert faults == []
    assert dies is not None
    return dies


def test_a_die_has_the_values_of_its_row(tmp_path: Path) -> None:
    (die,) = taken(tmp_path, f"{HEADING}D-1,96,,1/4 in,3,4,100.5,,,,2\n").dies
    assert die.reasons == {}
    assert die.value == Die(
        id="D-1", teeth=96, pitch="1/4 in", across=3, around=4, label_width_mm=Decimal("100.5"), copies=2
    )


def test_headings_of_the_shop_floor_do(tmp_path: Path) -> None:
    (die,) = taken(tmp_path, "Die No.;Repeat;No Across;No Around;Label Width\nD-1;304,8;3;4;100,5\n").dies
    assert (die.value.id, die.value.repeat_mm, die.value.label_width_mm) == (
        "D-1",
        Decimal("304.8"),
        Decimal("100.5"),
    )


def test_teeth_without_a_pitch_get_the_usual_one_with_its_reason(tmp_path: Path) -> None:
    dies = taken(tmp_path, f"{HEADING}D-1,96,,,3,4,100,,,M-96,\n")
    assert dies.dies[0].value.pitch == "1/8 in"
    assert dies.dies[0].reasons == {"pitch": "pitch of the trade"}
    assert dies.cylinders[0].value == Cylinder(id="M-96", teeth=96, pitch="1/8 in")
    assert dies.cylinders[0].reasons == {"pitch": "pitch of the trade"}


def test_a_die_takes_the_repeat_that_another_row_gives_its_cylinder(tmp_path: Path) -> None:
    dies = taken(tmp_path, f"{HEADING}D-1,,,,3,4,100,,,M-96,\nD-2,96,,1/8,3,4,90,,,M-96,\n")
    assert [(die.value.cylinder, die.value.teeth) for die in dies.dies] == [("M-96", None), ("M-96", 96)]
    assert [cylinder.value.id for cylinder in dies.cylinders] == ["M-96"]


def test_labels_with_their_gap_make_a_repeat_where_nothing_else_says_it(tmp_path: Path) -> None:
    (die,) = taken(tmp_path, f"{HEADING}D-1,,,,3,4,100,72.5,3.5,,\n").dies
    assert die.value.repeat_mm == Decimal(304)
    assert set(die.reasons) == {"repeat_mm"}


@pytest.mark.parametrize(
    ("pitch", "height", "fits"),
    [
        ("1/8 in", "101.6", True),
        ("1/8 in", "101.7", False),
        ("module 1", "100.5", True),
        ("module 1", "100.6", False),
    ],
)
def test_labels_must_have_room_in_the_repeat(tmp_path: Path, pitch: str, height: str, fits: bool) -> None:
    faults = read(tmp_path, f"{HEADING}D-1,96,,{pitch},3,3,100,{height},,,\n")[1]
    assert (faults == []) == fits
    assert fits or (faults[0].field, faults[0].row) == ("label_height_mm", 2)


def test_a_cylinder_may_have_the_repeat_that_labels_make(tmp_path: Path) -> None:
    dies = taken(tmp_path, f"{HEADING}D-1,,,,3,4,100,72.5,3.5,M-1,\n")
    assert [cylinder.value.repeat_mm for cylinder in dies.cylinders] == [Decimal(304)]
    assert set(dies.cylinders[0].reasons) == {"repeat_mm"}


def test_a_print_cylinder_needs_a_repeat_of_its_own(tmp_path: Path) -> None:
    text = (
        "number,teeth,across,around,label width,cylinder,print_cylinder\n"
        "D-1,96,3,4,90,M-96,P-96\nD-2,,3,4,90,M-96,P-88\n"
    )
    (fault,) = read(tmp_path, text)[1]
    assert (fault.row, fault.field, fault.value) == (3, "print_cylinder", "P-88")


@pytest.mark.parametrize(
    ("row", "field", "right"),
    [
        ("D-1,96,304.8,,3,4,100,,,,", "teeth", "beside repeat_mm"),
        ("D-1,,,,3,4,100,,,,", "repeat_mm", "must be given, or teeth"),
        ("D-1,,,,3,4,100,,,M-96,", "repeat_mm", "must be given, or teeth"),
        ("D-1,96,,,0,4,100,,,,", "across", "whole number above 0"),
        ("D-1,96,,,3,4,0,,,,", "label_width_mm", "greater than 0"),
        ("D-1,99999,,,3,4,10,,,,", "teeth", "less than or equal to 10000"),
        ("D-1,96,,DP 24 in,3,4,100,,,,", "pitch", "module m"),
        ("D-1,96,,,3,4,100,,,,-1", "copies", "whole number"),
    ],
)
def test_a_row_that_is_wrong_is_refused_by_field(tmp_path: Path, row: str, field: str, right: str) -> None:
    dies, faults = read(tmp_path, f"{HEADING}{row}\n")
    assert dies is None
    assert [(fault.row, fault.field) for fault in faults] == [(2, field)]
    assert right in faults[0].right
