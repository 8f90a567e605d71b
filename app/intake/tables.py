"""Tables from CSV: a heading, then rows of cells by column."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from app.intake.files import read_text
from app.intake.findings import Findings, unknown

MOST_ROWS = 50_000


@dataclass(frozen=True, slots=True)
class Columns:
    """Columns of a table: those that must be there and those that may."""

    required: tuple[str, ...]
    optional: tuple[str, ...] = ()

    @property
    def known(self) -> tuple[str, ...]:
        return self.required + self.optional


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as a spreadsheet counts, and its trimmed cells by column."""

    number: int
    cells: dict[str, str]


def read_table(path: Path, columns: Columns, findings: Findings) -> list[Row] | None:
    """Rows of a CSV file with a heading, columns in any order; blank lines are passed over.

    None with faults where the heading does not fit; a row that does not fit it is a fault.
    """
    text = read_text(path, findings)
    if text is None:
        return None
    lines = list(_lines(text, str(path), findings))
    if not lines:
        findings.fault(str(path), f"should begin with a heading: {', '.join(columns.required)}")
        return None
    number, heading = lines[0]
    names = [name.strip().lower() for name in heading]
    if not _heading_fits(names, number, columns, str(path), findings):
        return None
    if len(lines) - 1 > MOST_ROWS:
        findings.fault(str(path), f"should have at most {MOST_ROWS:,} rows, has {len(lines) - 1:,}")
        return None
    return list(_rows(lines[1:], names, str(path), findings))


def _lines(text: str, file: str, findings: Findings) -> Iterator[tuple[int, list[str]]]:
    number = 0
    try:
        for cells in csv.reader(io.StringIO(text, newline=""), strict=True):
            number += 1
            if any(cell.strip() for cell in cells):
                yield number, cells
    except csv.Error as error:
        findings.fault(file, f"cannot be read as CSV: {error}", row=number + 1)


def _heading_fits(names: Sequence[str], number: int, columns: Columns, file: str, findings: Findings) -> bool:
    if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
        findings.fault(file, "columns should be parted by commas", row=number, value=names[0])
        return False
    fits = True
    for name in columns.required:
        if name not in names:
            findings.fault(file, "this column must be there", row=number, field=name)
            fits = False
    for idx, name in enumerate(names):
        if name not in columns.known:
            findings.fault(file, unknown("column", name, columns.known), row=number, value=name)
            fits = False
        elif name in names[:idx]:
            findings.fault(file, "this column should be there once only", row=number, field=name)
            fits = False
    return fits


def _rows(
    lines: Sequence[tuple[int, list[str]]], names: Sequence[str], file: str, findings: Findings
) -> Iterator[Row]:
    for number, cells in lines:
        trimmed = [cell.strip() for cell in cells]
        if len(trimmed) != len(names):
            findings.fault(
                file, f"should have {len(names)} cells like the heading, has {len(trimmed)}", row=number
            )
            continue
        controls = [
            name
            for name, cell in zip(names, trimmed, strict=True)
            if any(ord(character) < ord(" ") for character in cell)
        ]
        for name in controls:
            findings.fault(file, "should be one line of plain text", row=number, field=name)
        if not controls:
            yield Row(number, dict(zip(names, trimmed, strict=True)))
