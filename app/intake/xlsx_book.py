"""Lines of one sheet of an XLSX workbook."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook

from app.contracts.known_names import unknown
from app.intake.findings import Findings
from app.intake.lines import MOST_ROWS, Line, Lines, Merge, Separators, fits
from app.intake.xlsx_limits import Refused, look_through

ARCHIVE = b"PK\x03\x04"
OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""How ZIP archives begin, and how XLS and password-protected workbooks do."""

MOST_MERGED_CELLS = 100_000

PANIC = "PanicException"
"""What a mistake of the XLSX reader's own comes out as: an exception that derives from no other."""

ERROR = "#error"
"""Stands for a formula's error, which a reader of XLSX shows as an empty cell."""

CellValue = int | float | str | bool | time | date | datetime | timedelta
_Place = tuple[int, int]


def xlsx_lines(content: bytes, sheet: str | None, file: str, findings: Findings) -> Lines | None:
    """The lines of the sheet of that name, else of the first sheet; or None with a fault."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            error_cells = look_through(archive)
        with CalamineWorkbook.from_filelike(io.BytesIO(content)) as book:
            names = book.sheet_names
            if not names:
                raise Refused("should have a sheet with a table")
            chosen = names[0] if sheet is None else sheet
            if chosen not in names:
                findings.fault(file, unknown("sheet", chosen, names), value=chosen)
                return None
            if sheet is None and len(names) > 1:
                others = ", ".join(f"“{name}”" for name in names[1:])
                findings.note(f"{file}: the first sheet, “{chosen}”, is read; not {others}.")
            return _sheet_lines(
                book.get_sheet_by_name(chosen), error_cells.get(chosen, frozenset()), file, findings
            )
    except Refused as refused:
        findings.fault(file, str(refused))
    except (CalamineError, zipfile.BadZipFile, OSError, ValueError, EOFError) as error:
        findings.fault(file, f"cannot be read as an XLSX workbook: {error}")
    except BaseException as error:
        if type(error).__name__ != PANIC:
            raise
        findings.fault(file, "cannot be read as an XLSX workbook")
    return None


def _sheet_lines(
    sheet: CalamineSheet, error_cells: frozenset[_Place], file: str, findings: Findings
) -> Lines | None:
    merges = tuple(Merge.between(first, last) for first, last in sheet.merged_cell_ranges or ())
    if sum(merge.area for merge in merges) > MOST_MERGED_CELLS:
        findings.fault(file, "should have no merged cells: split them and fill in every cell")
        return None
    offset = sheet.start[1] if sheet.start else 0
    lines: list[Line] = []
    errors = _by_row(error_cells)
    for number, row in enumerate(sheet.iter_rows(), 1):
        values: list[CellValue] = [""] * offset + list(row)
        for column in errors.get(number - 1, ()):
            values += [""] * (column + 1 - len(values))
            values[column] = ERROR
        line = _line(number, values)
        if not any(line.cells):
            continue
        if not fits(line, file, findings):
            return None
        lines.append(line)
        if len(lines) > MOST_ROWS + 1:
            findings.fault(file, f"should have at most {MOST_ROWS:,} rows", row=number)
            return None
    return Lines(_filled(lines, merges), Separators.UNKNOWN, merges)


def _by_row(places: Iterable[_Place]) -> dict[int, list[int]]:
    by_row: dict[int, list[int]] = {}
    for row, column in sorted(places):
        by_row.setdefault(row, []).append(column)
    return by_row


def _line(number: int, values: Sequence[CellValue]) -> Line:
    numeric = frozenset(
        idx
        for idx, value in enumerate(values)
        if isinstance(value, int | float) and not isinstance(value, bool)
    )
    return Line(number, tuple(_text(value) for value in values), numeric)


def _text(value: CellValue) -> str:
    """A cell as a person would type it: numbers with a point, dates and times as ISO 8601 has them."""
    match value:
        case bool():
            return "yes" if value else "no"
        case int() | float():
            return f"{Decimal(f'{value:.15g}'):f}"
        case datetime():
            return _to_the_second(value).isoformat()
        case date():
            return value.isoformat()
        case str():
            return value.strip()
        case _:
            return str(value)


def _to_the_second(moment: datetime) -> datetime:
    """A sheet keeps times as parts of a day, which are not whole seconds."""
    return (moment + timedelta(milliseconds=500)).replace(microsecond=0)


def _filled(lines: Sequence[Line], merges: Sequence[Merge]) -> tuple[Line, ...]:
    """Lines with the text of merged cells in every cell they cover, so that rows can be looked at."""
    by_number = {line.number: line for line in lines}
    for merge in merges:
        top = by_number.get(merge.first_row)
        if top is None or merge.first_column >= len(top.cells):
            continue
        for number in range(merge.first_row, merge.last_row + 1):
            if number in by_number:
                by_number[number] = _with_merge(by_number[number], merge, top)
    return tuple(by_number.values())


def _with_merge(line: Line, merge: Merge, top: Line) -> Line:
    cells = list(line.cells)
    covered = range(merge.first_column, min(merge.last_column + 1, len(cells)))
    for column in covered:
        cells[column] = top.cells[merge.first_column]
    numeric = line.numeric | frozenset(covered) if merge.first_column in top.numeric else line.numeric
    return Line(line.number, tuple(cells), numeric)
