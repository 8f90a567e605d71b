"""XLSX workbooks made for tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import xlsxwriter

CellValue = str | int | float | bool | datetime


def write_workbook(
    path: Path,
    rows: Iterable[Sequence[CellValue]],
    *,
    merged: Iterable[str] = (),
    errors: Iterable[str] = (),
    other_sheets: Mapping[str, Sequence[Sequence[CellValue]]] | None = None,
) -> None:
    """Write rows to the first sheet, each value as a cell of its own type.

    Parameters
    ----------
    merged
        Ranges such as B2:B4, merged over what rows hold in their first cell.
    errors
        Cells such as C3 that hold a formula's error.
    """
    with xlsxwriter.Workbook(path, {"default_date_format": "dd.mm.yyyy hh:mm"}) as book:
        rows = [list(row) for row in rows]
        _write(book.add_worksheet("Queue"), rows)
        sheet = book.worksheets()[0]
        for cells in merged:
            row, column = xlsxwriter.utility.xl_cell_to_rowcol(cells.split(":")[0])
            sheet.merge_range(cells, rows[row][column])
        for cell in errors:
            sheet.write_formula(cell, "=1/0", None, "#DIV/0!")
        for name, others in (other_sheets or {}).items():
            _write(book.add_worksheet(name), others)


def _write(sheet: xlsxwriter.worksheet.Worksheet, rows: Iterable[Sequence[CellValue]]) -> None:
    for row_idx, row in enumerate(rows):
        for column_idx, value in enumerate(row):
            if isinstance(value, bool):
                sheet.write_boolean(row_idx, column_idx, value)
            elif isinstance(value, int | float):
                sheet.write_number(row_idx, column_idx, value)
            elif isinstance(value, datetime):
                sheet.write_datetime(row_idx, column_idx, value)
            elif value:
                sheet.write_string(row_idx, column_idx, value)


SHEET_PART = "xl/worksheets/sheet1.xml"
STRINGS_PART = "xl/sharedStrings.xml"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def write_raw_workbook(path: Path, sheet: str, strings: str = "") -> None:
    """A workbook whose only sheet is the given XML, whatever that is."""
    parts = {SHEET_PART: f'<worksheet xmlns="{_MAIN}">{sheet}</worksheet>'.encode()}
    if strings:
        parts[STRINGS_PART] = f'<sst xmlns="{_MAIN}">{strings}</sst>'.encode()
    write_workbook(path, [["text"]])
    replace_parts(path, parts)


def parts_of(path: Path) -> dict[str, bytes]:
    """Content of a workbook by part."""
    with ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def replace_parts(path: Path, parts: Mapping[str, bytes]) -> None:
    """Write a workbook anew with other parts in place of its own."""
    whole = parts_of(path) | dict(parts)
    with ZipFile(path, "w", ZIP_DEFLATED, compresslevel=1) as archive:
        for name, content in whole.items():
            archive.writestr(name, content)
