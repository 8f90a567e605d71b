"""Lines of a table as they stand in a file, before anybody knows its columns."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from app.intake.findings import Findings

MOST_ROWS = 50_000
MOST_COLUMNS = 200
MOST_CELLS = 1_000_000
LONGEST_CELL = 2_000


class Separators(Enum):
    """What point and comma mean in the numbers of a cell."""

    POINT = "the point is the decimal mark"
    COMMA = "the comma is the decimal mark"
    UNKNOWN = "either may be"
    NONE = "a spreadsheet's own number: whoever reads it gets a point for the decimal mark"


@dataclass(frozen=True, slots=True)
class Line:
    """A line that holds something.

    Parameters
    ----------
    number
        As a spreadsheet counts: from 1, blank lines too.
    cells
        Their text, trimmed.
    numeric
        Positions of cells that a spreadsheet holds as numbers, so that their point is the decimal mark.
    """

    number: int
    cells: tuple[str, ...]
    numeric: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Merge:
    """Cells of a sheet made into one: rows from 1, columns from 0, ends included."""

    first_row: int
    first_column: int
    last_row: int
    last_column: int

    @classmethod
    def between(cls, first: tuple[int, int], last: tuple[int, int]) -> Merge:
        """From the first and last cell, both as (row, column) from 0."""
        return cls(first[0] + 1, first[1], last[0] + 1, last[1])

    @property
    def area(self) -> int:
        return (self.last_row - self.first_row + 1) * (self.last_column - self.first_column + 1)


@dataclass(frozen=True, slots=True)
class Lines:
    """All lines of a table that hold something, and what separators mean in its texts.

    Merged cells hold the same text in every line they cover.
    """

    lines: tuple[Line, ...]
    separators: Separators
    merges: tuple[Merge, ...] = ()


def fits(line: Line, file: str, findings: Findings) -> bool:
    """Whether a line keeps within the limits; a fault where not."""
    if len(line.cells) > MOST_COLUMNS:
        right = f"should have at most {MOST_COLUMNS} cells, has {len(line.cells):,}"
        findings.fault(file, right, row=line.number)
        return False
    longest = max(line.cells, key=len)
    if len(longest) > LONGEST_CELL:
        right = f"should have at most {LONGEST_CELL:,} characters in a cell, has {len(longest):,}"
        findings.fault(file, right, row=line.number, value=longest)
        return False
    return True
