"""Lines of a CSV text, whichever of comma, semicolon and tab parts its cells."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Sequence

from app.intake.findings import Findings
from app.intake.lines import MOST_ROWS, Line, Lines, Separators, fits

MOST_BLANK_LINES = 50_000
LONGEST_ROW = 200_000
DELIMITERS = {",": Separators.POINT, ";": Separators.COMMA, "\t": Separators.UNKNOWN}
"""What parts cells, and what it says of numbers: where commas part cells, numbers are written with points."""

Fit = Callable[[Sequence[str]], int]
"""How many of some headings are known."""


def csv_lines(text: str, fit: Fit, file: str, findings: Findings) -> Lines | None:
    """The lines, or None with a fault."""
    if text.count("\n") + text.count("\r") > 2 * (MOST_ROWS + MOST_BLANK_LINES):
        findings.fault(file, f"should have at most {MOST_ROWS:,} rows, has far more lines")
        return None
    delimiter, skipped = _delimiter(text, fit)
    lines: list[Line] = []
    try:
        for line in _lines(text, delimiter, skipped):
            if not fits(line, file, findings):
                return None
            lines.append(line)
            if len(lines) > MOST_ROWS + 1:
                findings.fault(file, f"should have at most {MOST_ROWS:,} rows", row=line.number)
                return None
    except _Unreadable as error:
        findings.fault(file, f"cannot be read as CSV: {error}", row=error.row)
        return None
    return Lines(tuple(lines), DELIMITERS[delimiter])


class _Unreadable(ValueError):
    def __init__(self, reason: object, row: int) -> None:
        self.row = row
        super().__init__(str(reason))


class _TextLines:
    """Lines of a text with their ends, refused where a row of the table is far too long."""

    _LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")

    def __init__(self, text: str) -> None:
        self._found = self._LINE.finditer(text)
        self._characters = 0

    def begin_row(self) -> None:
        """Count anew."""
        self._characters = 0

    def __iter__(self) -> _TextLines:
        return self

    def __next__(self) -> str:
        line = next(self._found)[0]
        self._characters += len(line)
        if self._characters > LONGEST_ROW:
            raise csv.Error(f"a row should have at most {LONGEST_ROW:,} characters")
        return line


def _lines(text: str, delimiter: str, skipped: int) -> Iterator[Line]:
    number = 0
    text_lines = _TextLines(text)
    try:
        for cells in csv.reader(text_lines, delimiter=delimiter, strict=True):
            number += 1
            text_lines.begin_row()
            if number > skipped and any(cell.strip() for cell in cells):
                yield Line(number, tuple(cell.strip() for cell in cells))
    except csv.Error as error:
        raise _Unreadable(error, number + 1) from None


_SAYS_DELIMITER = re.compile(r"sep=([,;\t])\s*", re.IGNORECASE)


def _delimiter(text: str, fit: Fit) -> tuple[str, int]:
    """What parts cells, and how many lines at the top only say so."""
    said = _SAYS_DELIMITER.fullmatch(text[: text.find("\n") + 1])
    if said:
        return said[1], 1
    top = text[:LONGEST_ROW]
    by_fit = [(_heading_fit(top, delimiter, fit), delimiter) for delimiter in DELIMITERS]
    return max(by_fit, key=lambda entry: entry[0])[1], 0


def _heading_fit(top: str, delimiter: str, fit: Fit) -> tuple[int, int]:
    try:
        heading = next(_lines(top, delimiter, 0), None)
    except _Unreadable:
        return (0, 0)
    return (0, 0) if heading is None else (fit(heading.cells), len(heading.cells))
