"""A shop's stock list, from a CSV or XLSX file, one row a width of a stock or a roll of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from app.contracts.plant import Substrate
from app.intake.cells import decimal_number, length_m, whole_number
from app.intake.defaults import Defaults, Usual
from app.intake.filled import Filled
from app.intake.findings import Findings
from app.intake.headings import Columns
from app.intake.json_text import contract_faults
from app.intake.lines import Separators
from app.intake.mapping_file import NO_MAPPING, TableMapping
from app.intake.moments import ready_moment
from app.intake.records import CellReaders, Record, check_once, read_records, record_fault
from app.intake.spellings import OF_STOCK
from app.intake.tables import Row, read_table

COLUMNS = Columns(
    required=("code", "width_mm", "metres"),
    optional=(
        "roll",
        "name",
        "material",
        "thickness_um",
        "liner_thickness_um",
        "eur_per_m2",
        "usual_roll_m",
        "print_settings",
        "delivery_at",
        "delivery_m",
    ),
    spellings=OF_STOCK,
)
OF_SUBSTRATE = (
    "name",
    "material",
    "thickness_um",
    "liner_thickness_um",
    "eur_per_m2",
    "usual_roll_m",
    "print_settings",
)


def _delivery_moment(text: str, _: Separators) -> Any:
    return ready_moment(text)


_READERS = CellReaders(
    by_column={
        "width_mm": decimal_number,
        "metres": length_m,
        "thickness_um": whole_number,
        "liner_thickness_um": whole_number,
        "eur_per_m2": decimal_number,
        "usual_roll_m": length_m,
        "delivery_at": _delivery_moment,
        "delivery_m": length_m,
    },
    never_empty=frozenset(("code", "width_mm")),
)


def read_stock(
    path: Path, defaults: Defaults, findings: Findings, mapping: TableMapping = NO_MAPPING
) -> tuple[Filled[Substrate], ...] | None:
    """Stocks in the order of their first rows, or None with faults.

    A width is there once, unless rows name their rolls: then their metres are added. Rows that bring only
    a delivery leave metres empty.
    """
    rows = read_table(path, COLUMNS, findings, mapping)
    if rows is None:
        return None
    faults_before = len(findings.faults)
    reader = _StockReader(str(path), defaults, findings)
    records = read_records(rows, reader.record, str(path), findings)
    substrates = reader.substrates(records)
    return substrates if len(findings.faults) == faults_before else None


@dataclass(frozen=True, slots=True)
class _StockReader:
    file: str
    defaults: Defaults
    findings: Findings

    def record(self, row: Row) -> Record:
        """A row's values, with faults where they do not go together."""
        record = _READERS.record(row, self.file, self.findings)
        said = {column for column in ("metres", "delivery_at", "delivery_m") if row.cells.get(column)}
        if ("delivery_at" in said) != ("delivery_m" in said):
            missing = "delivery_m" if "delivery_at" in said else "delivery_at"
            self._fault(record, missing, "delivery_at and delivery_m must be given together")
        elif not said:
            self._fault(record, "metres", "must not be empty")
        return record

    def substrates(self, records: Sequence[Record]) -> tuple[Filled[Substrate], ...]:
        """Rows put together by code."""
        check_once(self.findings, self.file, records, "roll")
        by_code: dict[str, list[Record]] = {}
        for record in records:
            by_code.setdefault(record.values["code"], []).append(record)
        made = (self._substrate(code, rows) for code, rows in by_code.items())
        return tuple(substrate for substrate in made if substrate is not None)

    def _fault(self, record: Record, column: str, right: str) -> None:
        record_fault(self.findings, self.file, record, column, right)

    def _substrate(self, code: str, records: Sequence[Record]) -> Filled[Substrate] | None:
        faults_before = len(self.findings.faults)
        said = self._said_of(records)
        widths = self._widths(records)
        if len(self.findings.faults) > faults_before:
            return None
        material = " ".join(
            dict.fromkeys(str(said[column]) for column in ("material", "name") if column in said)
        )
        fields, reasons = self._filled(material or code, said)
        fields |= {"code": code, "name": said.get("name", ""), "widths": widths}
        try:
            return Filled(Substrate.model_validate(fields), reasons)
        except ValidationError as error:
            for fault in contract_faults(error, self.file, COLUMNS.known, records[0].row.number):
                column = (fault.field or "").rpartition(".")[2]
                self._fault(records[0], column, fault.right)
            return None

    def _said_of(self, records: Sequence[Record]) -> dict[str, Any]:
        """What rows say of the stock itself; they may leave out what another row of it says."""
        said: dict[str, Any] = {}
        rows: dict[str, Row] = {}
        for record in records:
            for column in OF_SUBSTRATE:
                if column not in record.values:
                    continue
                if column in said and said[column] != record.values[column]:
                    first = rows[column]
                    code = record.values["code"]
                    right = (
                        f"should be “{first.cells[column]}” as in row {first.number} of the same stock {code}"
                    )
                    self._fault(record, column, right)
                said.setdefault(column, record.values[column])
                rows.setdefault(column, record.row)
        return said

    def _widths(self, records: Sequence[Record]) -> list[dict[str, Any]]:
        """Metres and deliveries by width."""
        by_width: dict[Decimal, list[Record]] = {}
        for record in records:
            by_width.setdefault(record.values["width_mm"], []).append(record)
        for rows in by_width.values():
            self._check_width_once([record for record in rows if "metres" in record.values])
        return [
            {
                "width_mm": width_mm,
                "on_hand_m": sum((record.values.get("metres", Decimal(0)) for record in rows), Decimal(0)),
                "deliveries": list(_deliveries(rows)),
            }
            for width_mm, rows in by_width.items()
        ]

    def _check_width_once(self, records: Sequence[Record]) -> None:
        for record in records[1:]:
            if "roll" not in record.values or "roll" not in records[0].values:
                right = (
                    f"row {records[0].row.number} has this stock in this width already: "
                    "add the metres up, or name each row's roll in a column roll"
                )
                self._fault(record, "width_mm", right)

    def _filled(self, material: str, said: dict[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
        """Fields of the stock, and why for each that is filled in."""
        usual: dict[str, Callable[[str], Usual[Any]]] = {
            "thickness_um": self.defaults.thickness_um,
            "liner_thickness_um": self.defaults.liner_thickness_um,
            "eur_per_m2": self.defaults.eur_per_m2,
            "usual_roll_m": self.defaults.roll_m,
            "print_settings": self.defaults.print_settings,
            "material_class": self.defaults.material_class,
        }
        fields: dict[str, Any] = {}
        reasons: dict[str, str] = {}
        for name, fill in usual.items():
            if name in said:
                fields[name] = said[name]
            else:
                assumed = fill(material)
                fields[name], reasons[name] = assumed.value, assumed.reason
        return fields, reasons


def _deliveries(records: Iterable[Record]) -> Iterable[dict[str, Any]]:
    for record in records:
        if "delivery_at" in record.values:
            yield {"at": record.values["delivery_at"], "length_m": record.values["delivery_m"]}
