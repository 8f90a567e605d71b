"""A shop's stock list, from a CSV or XLSX file: all that is said of its stocks, one row a width or a roll."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from app.contracts.faults import contract_faults
from app.contracts.plant import Substrate
from app.intake.at_start import AtStart
from app.intake.defaults import Defaults, Usual
from app.intake.filled import Filled
from app.intake.findings import Findings
from app.intake.mapping_file import NO_MAPPING, TableMapping
from app.intake.records import Record
from app.intake.stock_rows import COLUMNS, OF_SUBSTRATE, StockRows, read_stock_rows
from app.intake.tables import Row


def read_stock(
    path: Path,
    defaults: Defaults,
    findings: Findings,
    mapping: TableMapping = NO_MAPPING,
    at_start: AtStart | None = None,
) -> tuple[Filled[Substrate], ...] | None:
    """Stocks in the order of their first rows, or None with faults."""
    faults_before = len(findings.faults)
    rows = read_stock_rows(path, findings, mapping, at_start)
    if rows is None:
        return None
    reader = _StockReader(rows, defaults)
    made = [reader.substrate(code, records) for code, records in rows.by_code.items()]
    substrates = tuple(substrate for substrate in made if substrate is not None)
    return substrates if len(findings.faults) == faults_before else None


@dataclass(frozen=True, slots=True)
class _StockReader:
    rows: StockRows
    defaults: Defaults

    def substrate(self, code: str, records: Sequence[Record]) -> Filled[Substrate] | None:
        """A stock of its rows."""
        findings = self.rows.findings
        faults_before = len(findings.faults)
        said = self._said_of(records)
        widths = self.rows.widths(records)
        if len(findings.faults) > faults_before:
            return None
        material = " ".join(
            dict.fromkeys(str(said[column]) for column in ("material", "name") if column in said)
        )
        fields, reasons = self._filled(material or code, said)
        fields |= {"code": code, "name": said.get("name", ""), "widths": widths}
        try:
            return Filled(Substrate.model_validate(fields), reasons)
        except ValidationError as error:
            for fault in contract_faults(error, self.rows.file, COLUMNS.known, records[0].row.number):
                column = (fault.field or "").rpartition(".")[2]
                self.rows.fault(records[0], column, fault.right)
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
                    self.rows.fault(record, column, right)
                said.setdefault(column, record.values[column])
                rows.setdefault(column, record.row)
        return said

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
