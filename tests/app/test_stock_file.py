"""What a shop's stock list gives."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest

from app.contracts.plant import Delivery, Flaw, FlawKind, Roll, StockedWidth, Substrate
from app.errors import Fault
from app.intake.filled import Filled
from app.intake.findings import Findings
from app.intake.stock_file import read_stock
from tests.app.usual import FixedDefaults
from tests.app.workbooks import write_workbook

BARE = "code,width_mm,metres\n"
FULL = (
    "code,width_mm,metres,name,material,thickness_um,liner_thickness_um,eur_per_m2,usual_roll_m,"
    "print_settings\n"
)


def read(
    folder: Path, text: str, defaults: FixedDefaults | None = None
) -> tuple[tuple[Filled[Substrate], ...] | None, list[Fault]]:
    path = folder / "stock.csv"
    path.write_text(text, encoding="utf-8")
    findings = Findings()
    return read_stock(path, defaults or FixedDefaults(), findings), findings.faults


def taken(folder: Path, text: str) -> list[Substrate]:
    stock, faults = read(folder, text)
    assert faults == []
    assert stock is not None
    return [substrate.value for substrate in stock]


def test_three_columns_do_and_the_rest_is_filled_in_with_reasons(tmp_path: Path) -> None:
    stock, faults = read(tmp_path, f"{BARE}PP-60,330,2600\n")
    assert (faults, stock is not None) == ([], True)
    (substrate,) = stock or ()
    assert substrate.value == Substrate(
        code="PP-60",
        eur_per_m2=Decimal("0.5"),
        widths=(StockedWidth(width_mm=Decimal(330), on_hand_m=Decimal(2600)),),
        material_class="film",
        thickness_um=150,
        liner_thickness_um=50,
        print_settings="usual",
        usual_roll_m=Decimal(1500),
    )
    assert substrate.reasons["eur_per_m2"] == "price of PP-60"
    assert len(substrate.reasons) == 6


def test_what_the_list_says_is_not_filled_in(tmp_path: Path) -> None:
    stock, faults = read(tmp_path, f"{FULL}PP-60,330,2600,Film,white PP,115,30,0.6,2000,white film\n")
    assert faults == []
    (substrate,) = stock or ()
    assert set(substrate.reasons) == {"material_class"}
    assert (substrate.value.name, substrate.value.thickness_um) == ("Film", 115)
    assert substrate.value.usual_roll_m == 2000


def test_usual_values_are_asked_for_by_material_and_name_else_by_code(tmp_path: Path) -> None:
    defaults = FixedDefaults()
    read(tmp_path, "code,width_mm,metres,material,name\nA,330,1,paper,Felt\nB,330,1,,\n", defaults)
    assert defaults.asked == ["paper Felt", "B"]


def test_rows_of_a_stock_are_its_widths_and_may_leave_out_what_another_says(tmp_path: Path) -> None:
    text = "code,width_mm,metres,thickness_um\nA,330,100,\nB,250,7,90\nA,250,50,120\n"
    first, second = taken(tmp_path, text)
    assert (first.code, first.thickness_um, second.code) == ("A", 120, "B")
    assert first.widths == (
        StockedWidth(width_mm=Decimal(330), on_hand_m=Decimal(100)),
        StockedWidth(width_mm=Decimal(250), on_hand_m=Decimal(50)),
    )


def test_rows_that_name_their_rolls_keep_them(tmp_path: Path) -> None:
    text = "code,width_mm,metres,roll no\nA,330,1500,R1\nA,330,800,R2\n"
    (width,) = taken(tmp_path, text)[0].widths
    assert width == StockedWidth(
        width_mm=Decimal(330),
        rolls=(Roll(id="R1", length_m=Decimal(1500)), Roll(id="R2", length_m=Decimal(800))),
    )
    (fault,) = read(tmp_path, text.replace("R2", "R1"))[1]
    assert (fault.row, fault.field, fault.value) == (3, "roll", "R1")


def test_all_that_is_said_of_a_roll_is_read(tmp_path: Path) -> None:
    heading = (
        "code,width_mm,metres,roll,received,best_before,location,defects,reserved_for,on_unwind,delivery_at\n"
    )
    row = 'A,330,1500,R1,11.01.2027,2027-12-01,"Hall 2, A-03",splice 300; Defect 120-135.5 m,J-1,H1,\n'
    awaited = "A,330,1500,R2,,,,,,,2027-03-02T08:00\n"
    (width,) = taken(tmp_path, heading + row + awaited)[0].widths
    assert width.rolls == (
        Roll(
            id="R1",
            length_m=Decimal(1500),
            received=datetime(2027, 1, 11),
            best_before=datetime(2027, 12, 2),
            location="Hall 2, A-03",
            flaws=(
                Flaw(kind=FlawKind.DEFECT, from_m=Decimal(120), to_m=Decimal("135.5")),
                Flaw(kind=FlawKind.SPLICE, from_m=Decimal(300)),
            ),
            reserved_for="J-1",
            on_unwind="H1",
        ),
        Roll(id="R2", length_m=Decimal(1500), arrives=datetime(2027, 3, 2, 8)),
    )
    assert width.deliveries == ()


def test_rolls_come_alike_from_a_workbook(tmp_path: Path) -> None:
    cells = ("A", 330, 1500, "R1", datetime(2027, 1, 11), "defect 120 to 135; splice 300 m")
    path = tmp_path / "stock.xlsx"
    heading = ("Item", "Roll width", "Length m", "Roll ID", "Goods in", "Flaws")
    write_workbook(path, [heading, cells])
    findings = Findings()
    (substrate,) = read_stock(path, FixedDefaults(), findings) or ()
    assert findings.faults == []
    (roll,) = substrate.value.widths[0].rolls
    assert roll.received == datetime(2027, 1, 11)
    assert [int(flaw.end_m) for flaw in roll.flaws] == [135, 300]


def test_a_delivery_may_stand_beside_rolls(tmp_path: Path) -> None:
    text = "code,width_mm,metres,roll,delivery_at,delivery_m\nA,330,900,R1,,\nA,330,,,2027-03-02,4000\n"
    (width,) = taken(tmp_path, text)[0].widths
    assert [roll.id for roll in width.rolls] == ["R1"]
    assert [delivery.length_m for delivery in width.deliveries] == [4000]


def test_where_a_whole_stock_lies_may_be_said_without_a_roll(tmp_path: Path) -> None:
    text = "code,width_mm,metres,location\nA,330,900,Hall 1\n"
    assert taken(tmp_path, text)[0].widths[0].on_hand_m == 900


@pytest.mark.parametrize(
    ("said", "right"),
    [
        ("defect 120", "should list flaws"),
        ("120-135", "should list flaws"),
        ("defect 135-120", "should end behind where it begins"),
        ("splice 300-310", "at one metre"),
        ("splice 1500", "inside the roll's 1500 m"),
        ("splice 0", "inside the roll's 1500 m"),
        ("splice 300; splice 300", "should lie behind splice 300"),
        ("defect 100-300; defect 120-130; defect 290-310", "should lie behind defect 100-300"),
        ("defect 1.200-1.300", "could be 1200 or 1.2"),
    ],
)
def test_flaws_that_cannot_be_are_refused(tmp_path: Path, said: str, right: str) -> None:
    stock, faults = read(tmp_path, f"code,width_mm,metres,roll,defects\nA,330,1500,R1,{said}\n")
    assert stock is None
    assert {(fault.row, fault.field) for fault in faults} == {(2, "defects")}
    assert all(right in fault.right for fault in faults)


def test_every_fault_of_all_rolls_is_told_at_once(tmp_path: Path) -> None:
    text = (
        "code,width_mm,metres,roll,defects,received\n"
        "A,330,0,R1,,\nA,330,500,R2,defect 400-600,\nA,330,500,R2,,soon\nA,330,,R3,,\nB,-1,500,R4,,\n"
    )
    faults = read(tmp_path, text)[1]
    assert {(fault.row, fault.field) for fault in faults} == {
        (2, "metres"),
        (3, "defects"),
        (4, "received"),
        (5, "metres"),
        (6, "width_mm"),
    }


def test_deliveries_are_taken_with_or_without_metres_on_hand(tmp_path: Path) -> None:
    text = f"{BARE.strip()},delivery_at,delivery_m\nA,330,100,02.03.2027,4000\nA,330,,2027-03-03T08:00,500\n"
    (width,) = taken(tmp_path, text)[0].widths
    assert width.on_hand_m == 100
    assert width.deliveries == (
        Delivery(at=datetime(2027, 3, 2), length_m=Decimal(4000)),
        Delivery(at=datetime(2027, 3, 3, 8), length_m=Decimal(500)),
    )


@pytest.mark.parametrize(("text", "metres"), [("12,5", "12.5"), ("1 200", "1200"), ("1.200,50", "1200.5")])
def test_metres_are_read_where_only_one_reading_is_possible(tmp_path: Path, text: str, metres: str) -> None:
    assert taken(tmp_path, f'{BARE}A,330,"{text}"\n')[0].widths[0].on_hand_m == Decimal(metres)


@pytest.mark.parametrize(
    ("row", "field", "right"),
    [
        ("A,330,1.200", "metres", "could be 1200 or 1.2"),
        ("A,330,", "metres", "must not be empty"),
        (",330,5", "code", "must not be empty"),
        ("A,0,5", "width_mm", "greater than 0"),
        ("A,330,-5", "metres", "at least 0"),
    ],
)
def test_a_row_that_is_wrong_is_refused_by_field(tmp_path: Path, row: str, field: str, right: str) -> None:
    stock, faults = read(tmp_path, f"{BARE}{row}\n")
    assert stock is None
    assert [(fault.row, fault.field) for fault in faults] == [(2, field)]
    assert right in faults[0].right
