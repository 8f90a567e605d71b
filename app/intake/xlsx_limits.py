"""What an XLSX file may unpack to, looked at before anything parses it.

An XLSX file is a ZIP archive of XML parts. A few kilobytes of it can claim gigabytes of text, or one
cell at the far corner of a sheet, which a reader would fill up to; both are found here by unpacking in
pieces and stopping at the first limit.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator

from app.intake.lines import MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from app.intake.xlsx_parts import INDEX_PARTS, part_by_sheet

MOST_PARTS = 500
MOST_UNPACKED_BYTES = 30_000_000
MOST_MERGES = 10_000
LARGEST_INDEX_BYTES = 1_000_000
"""Of the parts that list sheets."""

MOST_ROW_NUMBER = 2 * MOST_ROWS
"""Rows that are blank count here: the reader holds them too."""

_PIECE_BYTES = 1 << 20
_REFERENCE = re.compile(rb"""\br\s*=\s*["']([A-Za-z]{0,7})([0-9]{1,10})["']""")
_ERROR_TYPE = (b't="e"', b"t='e'")
_ERROR_CELL = re.compile(
    rb"""<(?:\w+:)?c\s(?=[^<>]*\bt\s*=\s*["']e["'])[^<>]*?\br\s*=\s*["']([A-Za-z]{1,3})([0-9]+)["']"""
)
_ROW = re.compile(rb"[<:]row[\s/>]")
_CELL_TAGS = (b"<c ", b"<c>", b"<c/", b":c ", b":c>", b":c/")
_MERGE = b"mergeCell "
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError)


class Refused(ValueError):
    """An archive that is not taken; its text says what would be right."""


def look_through(archive: zipfile.ZipFile) -> dict[str, frozenset[tuple[int, int]]]:
    """Unpack every part once, in pieces.

    Returns
    -------
    Row and column, from 0, of cells that hold an error such as #N/A, by name of sheet.

    Raises
    ------
    Refused
        At the first limit that is passed, and for an archive that is no XLSX workbook or is damaged.
    """
    parts = archive.infolist()
    if not any(part.filename == "xl/workbook.xml" for part in parts):
        raise Refused("should be a CSV file or an XLSX workbook")
    if len(parts) > MOST_PARTS:
        raise Refused(f"should be a workbook of at most {MOST_PARTS} parts, has {len(parts):,}")
    if len({part.filename for part in parts}) < len(parts):
        raise Refused("is damaged: a part is there twice")
    if sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
        raise _too_large()
    if any(part.filename in INDEX_PARTS and part.file_size > LARGEST_INDEX_BYTES for part in parts):
        raise Refused("should be a workbook of far fewer sheets")
    try:
        sheets = part_by_sheet(archive)
    except _DAMAGE as error:
        raise Refused(f"is damaged or protected: {error}") from None
    unpacked = 0
    errors: dict[str, frozenset[tuple[int, int]]] = {}
    for part in parts:
        sheet = _SheetLook() if part.filename.lower() in sheets.values() else None
        for piece in _pieces(archive, part):
            unpacked += len(piece)
            if unpacked > MOST_UNPACKED_BYTES:
                raise _too_large()
            if sheet is not None:
                sheet.take(piece)
        if sheet is not None:
            errors[part.filename.lower()] = frozenset(sheet.error_cells)
    return {name: errors.get(part, frozenset()) for name, part in sheets.items()}


def _too_large() -> Refused:
    return Refused(f"should unpack to at most {MOST_UNPACKED_BYTES // 10**6} MB")


def _pieces(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[bytes]:
    try:
        with archive.open(part) as stream:
            while piece := stream.read(_PIECE_BYTES):
                yield piece
    except _DAMAGE as error:
        raise Refused(f"is damaged or protected: {error}") from None


class _SheetLook:
    """How far the cells of a sheet reach, and which of them are errors.

    Rows and cells may say where they stand or just follow each other; both are counted.
    """

    def __init__(self) -> None:
        self.error_cells: set[tuple[int, int]] = set()
        self._rest = b""
        self._rows = 0
        self._columns = 0
        self._merges = 0
        self._rows_begun = 0
        self._cells_in_row = 0

    def take(self, piece: bytes) -> None:
        """Look at the next piece of the sheet's XML: at all of its tags that have come to their end."""
        text = self._rest + piece
        cut = max(text.rfind(b"<"), 0)
        text, self._rest = text[:cut], text[cut:]
        self._count(text)
        found = _REFERENCE.findall(text)
        if found:
            self._reach(
                max(int(row) for row in {row for _, row in found}),
                max(column_number(letters.decode()) for letters in {letters for letters, _ in found}),
            )
        if any(mark in text for mark in _ERROR_TYPE):
            for match in _ERROR_CELL.finditer(text):
                self.error_cells.add((int(match[2]) - 1, column_number(match[1].decode()) - 1))

    def _count(self, text: bytes) -> None:
        self._merges += text.count(_MERGE)
        if self._merges > MOST_MERGES:
            raise Refused(f"should have at most {MOST_MERGES:,} merged cells, and none that are read")
        for idx, row in enumerate(_ROW.split(text)):
            if idx > 0:
                self._rows_begun += 1
                self._cells_in_row = 0
            self._cells_in_row += sum(map(row.count, _CELL_TAGS))
            self._reach(self._rows_begun, self._cells_in_row)

    def _reach(self, row: int, column: int) -> None:
        self._rows = max(self._rows, row)
        self._columns = max(self._columns, column)
        if row > MOST_ROW_NUMBER:
            raise Refused(f"should have at most {MOST_ROWS:,} rows, one stands in row {row:,}")
        if column > MOST_COLUMNS:
            raise Refused(f"should have at most {MOST_COLUMNS} columns, a cell stands in column {column:,}")
        if self._rows * self._columns > MOST_CELLS:
            raise Refused(f"should have at most {MOST_CELLS:,} cells, blank ones among them")


def column_number(letters: str) -> int:
    """A → 1, Z → 26, AA → 27."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
