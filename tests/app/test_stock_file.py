"""What a shop's stock list gives."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest

from app.contracts.plant import Delivery, StockedWidth, Substrate
from app.errors import Fault
from app.intake.filled import Filled
from app.intake.findings import Findings
from app.intake.stock_file import read_stock
from tests.app.usual import FixedDefaults

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


def test_rolls_are_added_up(tmp_path: Path) -> None:
    text = "code,width_mm,metres,roll no\nA,330,1500,R1\nA,330,800,R2\n"
    assert taken(tmp_path, text)[0].widths[0].on_hand_m == 2300
    (fault,) = read(tmp_path, text.replace("R2", "R1"))[1]
    assert (fault.row, fault.field, fault.value) == (3, "roll", "R1")


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
