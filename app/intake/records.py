"""Values of a table's rows by column, read cell by cell so that every fault has its row and field."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from app.contracts.faults import contract_faults
from app.intake.cell_error import CellError
from app.intake.findings import MOST_FAULTS, Findings
from app.intake.lines import Separators
from app.intake.tables import Row

ReadCell = Callable[[str, Separators], Any]


@dataclass(frozen=True, slots=True)
class Record:
    """A row's values by column; empty optional cells and cells that cannot be read are missing."""

    row: Row
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class CellReaders:
    """How each column is read.

    Parameters
    ----------
    by_column
        Readers; a column without one is text.
    never_empty
        Columns that must hold something.
    read_when_empty
        Columns in which an empty cell is a value.
    """

    by_column: Mapping[str, ReadCell]
    never_empty: frozenset[str]
    read_when_empty: frozenset[str] = frozenset()

    def record(self, row: Row, file: str, findings: Findings) -> Record:
        """What of a row can be read; faults for the cells that cannot."""
        values: dict[str, Any] = {}
        for column, text in row.cells.items():
            if not text and column in self.never_empty:
                findings.fault(file, "must not be empty", row=row.number, field=column)
            elif text or column in self.read_when_empty:
                right = self._read_into(values, column, text, row.separators_of(column), file)
                if right is not None:
                    findings.fault(file, right, row=row.number, field=column, value=text or None)
        return Record(row, values)

    def _read_into(
        self, values: dict[str, Any], column: str, text: str, separators: Separators, file: str
    ) -> str | None:
        """Take a cell's value; what would be right where it cannot be read."""
        reader = self.by_column.get(column)
        try:
            values[column] = text if reader is None else reader(text, separators)
        except CellError as error:
            return str(error)
        except ValidationError as error:
            return contract_faults(error, file, ())[0].right
        return None


def read_records(
    rows: Sequence[Row], read: Callable[[Row], Record], file: str, findings: Findings
) -> list[Record]:
    """Records of rows without faults; where very many have some, the rest is not looked at: a fault too."""
    if not rows:
        findings.fault(file, "should have at least one row below its heading")
    records: list[Record] = []
    faults_at_first = len(findings.faults)
    for row in rows:
        faults_before = len(findings.faults)
        if faults_before - faults_at_first >= MOST_FAULTS:
            findings.fault(file, "from here on rows were not looked at: mend those before", row=row.number)
            break
        record = read(row)
        if len(findings.faults) == faults_before:
            records.append(record)
    return records


def record_fault(findings: Findings, file: str, record: Record, column: str, right: str) -> None:
    """Say that a cell of a record is wrong."""
    value = record.row.cells.get(column) or None
    findings.fault(file, right, row=record.row.number, field=column, value=value)


def check_once(findings: Findings, file: str, records: Sequence[Record], column: str) -> None:
    """No two records may have the same value in a column; a missing value is nobody's."""
    rows: dict[Any, int] = {}
    for record in records:
        value = record.values.get(column)
        if value is None:
            continue
        if value in rows:
            right = f"should be there once: row {rows[value]} has it already"
            record_fault(findings, file, record, column, right)
        rows.setdefault(value, record.row.number)
