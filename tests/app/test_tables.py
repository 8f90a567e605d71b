"""What is read from a table, whichever program wrote it."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from types import ModuleType

import pytest

from app.errors import Fault
from app.intake import consumables_file, dies_file, jobs_file, stock_file
from app.intake.findings import Findings
from app.intake.headings import plain
from app.intake.lines import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS
from app.intake.mapping_file import NO_MAPPING, TableMapping, read_mapping
from app.intake.tables import Columns, Row, read_table
from tests.app.workbooks import CellValue, write_workbook

COLUMNS = Columns(
    ("code", "metres"), ("note", "due"), {"metres": ("length", "on hand"), "due": ("ship date",)}
)


def read(path: Path, mapping: TableMapping = NO_MAPPING) -> tuple[list[Row], Findings]:
    findings = Findings()
    return read_table(path, COLUMNS, findings, mapping) or [], findings


def cells_of(path: Path) -> list[dict[str, str]]:
    rows, findings = read(path)
    assert findings.faults == []
    return [row.cells for row in rows]


def only_fault(path: Path) -> Fault:
    (fault,) = read(path)[1].faults
    return fault


def text_file(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "stock.csv"
    path.write_bytes(text.encode(encoding))
    return path


def workbook(folder: Path, *rows: tuple[CellValue, ...], **more: list[str]) -> Path:
    path = folder / "stock.xlsx"
    write_workbook(path, rows, merged=more.get("merged", ()), errors=more.get("errors", ()))
    return path


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_accents_are_read_in_every_usual_encoding(tmp_path: Path, encoding: str) -> None:
    path = text_file(tmp_path, "code,metres\nRosé 80 µm,1\n", encoding)
    assert cells_of(path) == [{"code": "Rosé 80 µm", "metres": "1"}]


def test_an_encoding_that_had_to_be_guessed_is_said(tmp_path: Path) -> None:
    (note,) = read(text_file(tmp_path, "code,metres\nRosé,1\n", "cp1252"))[1].notes
    assert "read as Windows-1252" in note
    assert "line 2" in note


def test_bytes_that_are_no_text_are_refused_by_line(tmp_path: Path) -> None:
    path = text_file(tmp_path, "code,metres\nA\x00,1\n")
    assert (only_fault(path).row, "plain text" in only_fault(path).right) == (2, True)
    path.write_bytes(b"code,metres\nA,\x81\n")
    assert only_fault(path) == Fault("should be saved as UTF-8", file=str(path), row=2)
    path.write_bytes(b"\xff\xfec\x00o")
    path.write_bytes(path.read_bytes() + b"\x00\xd8")
    assert "UTF-16" in only_fault(path).right


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_cells_may_be_parted_by_comma_semicolon_or_tab(tmp_path: Path, delimiter: str) -> None:
    text = 'code,metres,note\nA,1,"x, y; z"\n'.replace(",", delimiter).replace(f"x{delimiter} y", "x, y")
    assert cells_of(text_file(tmp_path, text)) == [{"code": "A", "metres": "1", "note": "x, y; z"}]


def test_a_first_line_that_names_the_separator_is_followed(tmp_path: Path) -> None:
    rows = read(text_file(tmp_path, "sep=;\r\ncode;metres\r\nA;1\r\n"))[0]
    assert [(row.number, row.cells["code"]) for row in rows] == [(3, "A")]


def test_headings_are_matched_by_spelling_in_any_order(tmp_path: Path) -> None:
    path = text_file(tmp_path, "Ship-Date,On Hand, CODE \n2027-03-01,5,A\n")
    assert cells_of(path) == [{"due": "2027-03-01", "metres": "5", "code": "A"}]


def test_a_mapping_names_a_shops_own_heading_in_place_of_the_usual_ones(tmp_path: Path) -> None:
    path = text_file(tmp_path, "code,Länge,length\nA,5,6\n")
    rows, findings = read(path, TableMapping({"metres": "länge"}))
    assert findings.faults == []
    assert rows[0].cells == {"code": "A", "metres": "5"}
    assert findings.notes == [f"{path}: the column “length” is not known and not read."]


def test_a_mapped_heading_that_is_not_there_is_named(tmp_path: Path) -> None:
    path = text_file(tmp_path, "code,length\nA,6\n")
    (fault,) = read(path, TableMapping({"metres": "Länge"}))[1].faults
    assert (fault.field, "the mapping file says “Länge”" in fault.right) == ("metres", True)
    assert any("“Bemerkung”" in note for note in read(path, TableMapping({"note": "Bemerkung"}))[1].notes)


def test_rows_of_a_workbook_are_those_of_a_csv_file(tmp_path: Path) -> None:
    path = workbook(
        tmp_path,
        ("code", "metres", "note", "due"),
        ("A", 1200, "text", datetime(2027, 3, 1, 13, 10)),
        (),
        (2101, 0.1 + 0.2, True, datetime(2027, 3, 1)),
    )
    rows, findings = read(path)
    assert findings.faults == []
    assert [(row.number, *row.cells.values()) for row in rows] == [
        (2, "A", "1200", "text", "2027-03-01T13:10:00"),
        (4, "2101", "0.3", "yes", "2027-03-01"),
    ]
    assert rows[1].numeric == {"code", "metres"}


def test_a_table_may_begin_anywhere_on_its_sheet(tmp_path: Path) -> None:
    path = workbook(tmp_path, (), (), ("", "", "code", "metres"), ("", "", "A", 1))
    assert [(row.number, row.cells) for row in read(path)[0]] == [(4, {"code": "A", "metres": "1"})]


def test_cells_under_no_heading_are_refused(tmp_path: Path) -> None:
    path = workbook(tmp_path, ("code", "metres", ""), ("A", 1, "lost"))
    assert (only_fault(path).row, only_fault(path).value) == (2, "lost")
    assert "under no heading" in only_fault(path).right
    path = text_file(tmp_path, "code,metres,\nA,1,\nB,2,lost\n")
    assert (only_fault(path).row, only_fault(path).value) == (3, "lost")


@pytest.mark.parametrize(
    ("cells", "row", "field", "value", "right"),
    [
        ("B2:B3", 2, "metres", "5", "merged with the cells below, to row 3"),
        ("A3:B3", 3, "code", "B", "merged with the cells to its right"),
    ],
)
def test_merged_cells_are_refused_by_row_and_field(
    tmp_path: Path, cells: str, row: int, field: str, value: str, right: str
) -> None:
    path = workbook(tmp_path, ("code", "metres"), ("A", "5"), ("B", "6"), merged=[cells])
    fault = only_fault(path)
    assert (fault.row, fault.field, fault.value) == (row, field, value)
    assert right in fault.right


def test_merged_cells_that_nobody_reads_do_not_matter(tmp_path: Path) -> None:
    path = workbook(tmp_path, ("code", "metres", "ours"), ("A", 5, "x"), ("B", 6, "x"), merged=["C2:C3"])
    assert [cells["metres"] for cells in cells_of(path)] == ["5", "6"]


def test_a_formulas_error_is_refused_and_not_taken_for_an_empty_cell(tmp_path: Path) -> None:
    path = workbook(tmp_path, ("code", "metres", "note"), ("A", 5, ""), errors=["C2"])
    fault = only_fault(path)
    assert (fault.row, fault.field, fault.value) == (2, "note", None)
    assert "error of a formula" in fault.right


def test_the_first_sheet_is_read_and_others_are_named(tmp_path: Path) -> None:
    path = tmp_path / "stock.xlsx"
    write_workbook(path, [("code", "metres"), ("A", 1)], other_sheets={"Old": [("code", "metres"), ("B", 2)]})
    rows, findings = read(path)
    assert [row.cells["code"] for row in rows] == ["A"]
    assert findings.notes == [f"{path}: the first sheet, “Queue”, is read; not “Old”."]
    rows, findings = read(path, TableMapping(sheet="Old"))
    assert ([row.cells["code"] for row in rows], findings.notes) == (["B"], [])
    (fault,) = read(path, TableMapping(sheet="Odl"))[1].faults
    assert "nearest known one is “Old”" in fault.right


def test_old_and_protected_workbooks_and_other_archives_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "stock.xlsx"
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
    assert "CSV or XLSX, without a password" in only_fault(path).right
    whole = workbook(tmp_path, ("code", "metres"), ("A", 1)).read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert "cannot be read as an XLSX workbook" in only_fault(path).right


def test_limits_are_kept(tmp_path: Path) -> None:
    wide = ",".join(f"c{idx}" for idx in range(MOST_COLUMNS + 1))
    assert "at most 200 cells" in only_fault(text_file(tmp_path, f"{wide}\n")).right
    long = "x" * (LONGEST_CELL + 1)
    fault = only_fault(text_file(tmp_path, f"code,metres\n{long},1\n"))
    assert (fault.row, "at most 2,000 characters" in fault.right) == (2, True)
    many = "code,metres\n" + "A,1\n" * (MOST_ROWS + 1)
    assert "at most 50,000 rows" in only_fault(text_file(tmp_path, many)).right
    fitting = "code,metres\n" + "A,1\n" * MOST_ROWS
    assert len(cells_of(text_file(tmp_path, fitting))) == MOST_ROWS


@pytest.mark.parametrize("table", [jobs_file, dies_file, stock_file, consumables_file])
def test_no_spelling_stands_for_two_columns(table: ModuleType) -> None:
    columns: Columns = table.COLUMNS
    assert set(columns.spellings) <= set(columns.known)
    by_column = {
        (column, plain(name)) for column in columns.known for name in columns.spellings.get(column, ())
    }
    by_column |= {(column, plain(column)) for column in columns.known}
    assert len({name for _, name in by_column}) == len(by_column)


def mapping_of(folder: Path, value: object) -> tuple[dict[str, TableMapping], list[Fault]]:
    path = folder / "mapping.json"
    path.write_text(json.dumps(value), encoding="utf-8")
    findings = Findings()
    return read_mapping(path, {"jobs": ("job", "due"), "stock": ("code", "due")}, findings), findings.faults


def test_a_mapping_file_speaks_of_all_tables_or_of_one(tmp_path: Path) -> None:
    value = {"due": "Termin", "stock": {"code": "Artikel", "due": "Zugang", "sheet": "Lager"}}
    mapping, faults = mapping_of(tmp_path, value)
    assert faults == []
    assert mapping == {
        "jobs": TableMapping({"due": "Termin"}),
        "stock": TableMapping({"due": "Zugang", "code": "Artikel"}, "Lager"),
    }


@pytest.mark.parametrize(
    ("value", "field", "right"),
    [
        ([], None, "should be an object"),
        ({"jbo": "Auftrag"}, "jbo", "nearest known one is “job”"),
        ({"job": 5}, "job", "should be a heading in quotes"),
        ({"stock": {"job": "Auftrag"}}, "stock.job", "unknown column"),
        ({"stock": "x"}, "stock", "should be an object"),
        ({"jobs": {"job": "Auftrag", "due": "auftrag"}}, "due", "stands for job too"),
    ],
)
def test_a_mapping_file_that_is_wrong_is_refused(
    tmp_path: Path, value: object, field: str | None, right: str
) -> None:
    (fault,) = mapping_of(tmp_path, value)[1]
    assert fault.field == field
    assert right in fault.right


class PanicException(BaseException):
    """What a reader written in Rust raises when it fails."""


def test_a_reader_that_fails_refuses_the_workbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise PanicException

    path = workbook(tmp_path, ("code", "metres"), ("A", 1))
    monkeypatch.setattr("app.intake.xlsx_book._sheet_lines", fail)
    assert only_fault(path).right == "cannot be read as an XLSX workbook"
