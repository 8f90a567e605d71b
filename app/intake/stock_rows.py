"""Rows of a stock list: a width of a stock, or a roll of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from app.contracts.faults import contract_faults
from app.contracts.plant import Roll, StockedWidth
from app.intake.at_start import AtStart
from app.intake.cells import decimal_number, length_m, whole_number
from app.intake.findings import Findings
from app.intake.headings import Columns
from app.intake.lines import Separators
from app.intake.mapping_file import TableMapping
from app.intake.moments import due_moment, ready_moment
from app.intake.records import CellReaders, Record, check_once, read_records, record_fault
from app.intake.roll_rows import OF_ROLL, check_roll_columns, flaws, rolls_of
from app.intake.spellings import OF_STOCK
from app.intake.tables import Row, read_table

OF_SUBSTRATE = (
    "name",
    "material",
    "thickness_um",
    "liner_thickness_um",
    "eur_per_m2",
    "usual_roll_m",
    "print_settings",
)
"""Columns that describe a stock, whatever there is of it."""

COLUMNS = Columns(
    required=("code", "width_mm", "metres"),
    optional=("roll", *OF_SUBSTRATE, "delivery_at", "delivery_m", *OF_ROLL),
    spellings=OF_STOCK,
)


def _beginning_of_day(text: str, _: Separators) -> Any:
    return ready_moment(text)


def _end_of_day(text: str, _: Separators) -> Any:
    return due_moment(text)


_READERS = CellReaders(
    by_column={
        "width_mm": decimal_number,
        "metres": length_m,
        "thickness_um": whole_number,
        "liner_thickness_um": whole_number,
        "eur_per_m2": decimal_number,
        "usual_roll_m": length_m,
        "delivery_at": _beginning_of_day,
        "delivery_m": length_m,
        "received": _beginning_of_day,
        "best_before": _end_of_day,
        "defects": flaws,
    },
    never_empty=frozenset(("code", "width_mm")),
)


@dataclass(frozen=True, slots=True)
class StockRows:
    """The rows of a list that could be read.

    Parameters
    ----------
    rolls
        By the number of the row that names it.
    """

    file: str
    records: Sequence[Record]
    rolls: dict[int, Roll]
    findings: Findings

    @property
    def by_code(self) -> dict[str, list[Record]]:
        """Rows of every stock, in the order of their first ones."""
        found: dict[str, list[Record]] = {}
        for record in self.records:
            found.setdefault(record.values["code"], []).append(record)
        return found

    def fault(self, record: Record, column: str, right: str) -> None:
        """Say that a cell is wrong."""
        record_fault(self.findings, self.file, record, column, right)

    def widths(self, records: Iterable[Record]) -> tuple[StockedWidth, ...]:
        """What rows of one stock give, by width: metres, or rolls; and deliveries."""
        by_width: dict[Decimal, list[Record]] = {}
        for record in records:
            by_width.setdefault(record.values["width_mm"], []).append(record)
        for rows in by_width.values():
            self._check_width_once([record for record in rows if "metres" in record.values])
        made = (self._width(width_mm, rows) for width_mm, rows in by_width.items())
        return tuple(stocked for stocked in made if stocked is not None)

    def _width(self, width_mm: Decimal, records: Sequence[Record]) -> StockedWidth | None:
        rolls = [self.rolls[record.row.number] for record in records if record.row.number in self.rolls]
        fields: dict[str, Any] = {"width_mm": width_mm, "deliveries": list(_deliveries(records))}
        if rolls:
            fields["rolls"] = rolls
        else:
            metres = (record.values.get("metres", Decimal(0)) for record in records)
            fields["on_hand_m"] = sum(metres, Decimal(0))
        try:
            return StockedWidth.model_validate(fields)
        except ValidationError as error:
            for fault in contract_faults(error, self.file, COLUMNS.known, records[0].row.number):
                column = (fault.field or "").rpartition(".")[2]
                self.fault(records[0], column, fault.right)
            return None

    def _check_width_once(self, records: Sequence[Record]) -> None:
        for record in records[1:]:
            if "roll" not in record.values or "roll" not in records[0].values:
                right = (
                    f"row {records[0].row.number} has this stock in this width already: "
                    "add the metres up, or name each row's roll in a column roll"
                )
                self.fault(record, "width_mm", right)


def read_stock_rows(
    path: Path, findings: Findings, mapping: TableMapping, at_start: AtStart | None
) -> StockRows | None:
    """The rows of a list, or None where it has none to look at; what is wrong with them is a fault.

    A row names a width of a stock once, or a roll of it. Rows that bring only a delivery leave metres
    empty; a row of a roll that is to come says when in `delivery_at`.
    """
    rows = read_table(path, COLUMNS, findings, mapping)
    if rows is None:
        return None
    file = str(path)
    records = read_records(rows, lambda row: _record(row, file, findings), file, findings)
    check_once(findings, file, records, "roll")
    return StockRows(file, records, rolls_of(records, at_start, file, findings), findings)


def _record(row: Row, file: str, findings: Findings) -> Record:
    """A row's values, with faults where they do not go together."""
    record = _READERS.record(row, file, findings)
    said = {column for column in ("metres", "delivery_at", "delivery_m") if row.cells.get(column)}
    is_roll = bool(row.cells.get("roll"))
    check_roll_columns(record, file, findings)
    if "delivery_m" in said and "delivery_at" not in said:
        right = "delivery_at and delivery_m must be given together"
        record_fault(findings, file, record, "delivery_at", right)
    elif "delivery_at" in said and "delivery_m" not in said and not is_roll:
        right = "delivery_at and delivery_m must be given together"
        record_fault(findings, file, record, "delivery_m", right)
    elif not said and not is_roll:
        record_fault(findings, file, record, "metres", "must not be empty")
    return record


def _deliveries(records: Iterable[Record]) -> Iterable[dict[str, Any]]:
    for record in records:
        if "delivery_m" in record.values:
            yield {"at": record.values["delivery_at"], "length_m": record.values["delivery_m"]}
