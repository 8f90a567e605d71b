"""Tables from CSV and XLSX: a heading, then rows of cells by column."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from app.intake.csv_text import csv_lines
from app.intake.encodings import decoded_table
from app.intake.files import LARGEST_TABLE_BYTES, read_bytes
from app.intake.findings import Findings
from app.intake.headings import Columns, column_by_plain_heading, match_headings, plain
from app.intake.lines import Line, Lines, Merge, Separators
from app.intake.mapping_file import NO_MAPPING, TableMapping
from app.intake.xlsx_book import ARCHIVE, ERROR, OLD_OFFICE, xlsx_lines

__all__ = ["Columns", "Row", "read_table"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as a spreadsheet counts, and its trimmed cells by column.

    Parameters
    ----------
    separators
        What point and comma mean in numbers that are text.
    numeric
        Columns whose cell a spreadsheet holds as a number.
    """

    number: int
    cells: dict[str, str]
    separators: Separators = Separators.POINT
    numeric: frozenset[str] = frozenset()

    def separators_of(self, column: str) -> Separators:
        """What point and comma mean in a cell."""
        return Separators.NONE if column in self.numeric else self.separators


def read_table(
    path: Path, columns: Columns, findings: Findings, mapping: TableMapping = NO_MAPPING
) -> list[Row] | None:
    """Rows of a CSV or XLSX file with a heading, columns in any order; blank lines are passed over.

    None with faults where the heading does not fit; a row that does not fit it is a fault.
    """
    content = read_bytes(path, LARGEST_TABLE_BYTES, findings)
    if content is None:
        return None
    file = str(path)
    lines = _lines(content, columns, mapping, file, findings)
    if lines is None:
        return None
    if not lines.lines:
        findings.fault(file, f"should begin with a heading: {', '.join(columns.required)}")
        return None
    heading, *rest = lines.lines
    names = match_headings(heading, columns, mapping.heading_by_column, file, findings)
    _refuse_merges(lines, names or (), file, findings)
    if names is None:
        return None
    return list(_Body(heading, names, lines.separators, file, findings).rows(rest))


def _lines(
    content: bytes, columns: Columns, mapping: TableMapping, file: str, findings: Findings
) -> Lines | None:
    if content.startswith(ARCHIVE):
        return xlsx_lines(content, mapping.sheet, file, findings)
    if content.startswith(OLD_OFFICE):
        findings.fault(file, "should be CSV or XLSX, without a password; save it so")
        return None
    text = decoded_table(content, file, findings)
    if text is None:
        return None
    known = column_by_plain_heading(columns, mapping.heading_by_column)
    return csv_lines(text, lambda heading: sum(plain(cell) in known for cell in heading), file, findings)


def _refuse_merges(lines: Lines, names: Sequence[str | None], file: str, findings: Findings) -> None:
    by_number = {line.number: line for line in lines.lines}
    for merge in lines.merges:
        line = by_number.get(merge.first_row)
        covered = [name for name in names[merge.first_column : merge.last_column + 1] if name is not None]
        if line is None or (names and not covered):
            continue
        value = line.cells[merge.first_column] if merge.first_column < len(line.cells) else ""
        findings.fault(
            file,
            f"is {_merged_with(merge)}: split the cells and fill in each of them",
            row=merge.first_row,
            field=covered[0] if covered else None,
            value=value or None,
        )


def _merged_with(merge: Merge) -> str:
    if merge.last_row > merge.first_row:
        return f"merged with the cells below, to row {merge.last_row}"
    return "merged with the cells to its right"


@dataclass(frozen=True, slots=True)
class _Body:
    """The rows below a heading whose columns are known."""

    heading: Line
    names: Sequence[str | None]
    separators: Separators
    file: str
    findings: Findings

    def rows(self, lines: Sequence[Line]) -> Iterator[Row]:
        """Rows that fit the heading; faults for the others."""
        for line in lines:
            if not self._as_long_as_heading(line) or not self._all_headed(line):
                continue
            cells: dict[str, str] = {}
            plain_text = True
            for name, cell in zip(self.names, line.cells, strict=False):
                if name is not None:
                    cells[name] = cell
                    plain_text &= self._is_plain(cell, name, line.number)
            if plain_text:
                numeric = frozenset(name for idx in line.numeric if (name := self.names[idx]) is not None)
                yield Row(line.number, cells, self.separators, numeric)

    def _as_long_as_heading(self, line: Line) -> bool:
        """Whether a row has a cell for every column; empty cells beyond do not count."""
        columns = len(self.names)
        if len(line.cells) >= columns and not any(line.cells[columns:]):
            return True
        right = f"should have {columns} cells like the heading, has {len(line.cells)}"
        self.findings.fault(self.file, right, row=line.number)
        return False

    def _all_headed(self, line: Line) -> bool:
        for title, cell in zip(self.heading.cells, line.cells, strict=False):
            if cell and not title:
                self.findings.fault(self.file, "stands under no heading", row=line.number, value=cell)
                return False
        return True

    def _is_plain(self, cell: str, name: str, row: int) -> bool:
        if cell == ERROR:
            right = "holds an error of a formula; give the value itself"
            self.findings.fault(self.file, right, row=row, field=name)
            return False
        if any(ord(character) < ord(" ") for character in cell):
            self.findings.fault(self.file, "should be one line of plain text", row=row, field=name)
            return False
        return True
