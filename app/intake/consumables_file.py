"""A shop's inks, varnishes, laminates and foils, from a CSV or XLSX file, one row each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from app.contracts.faults import contract_faults
from app.contracts.plant import Consumable
from app.intake.cells import decimal_number, length_m, yes_or_no
from app.intake.findings import Findings
from app.intake.headings import Columns
from app.intake.lines import Separators
from app.intake.mapping_file import NO_MAPPING, TableMapping
from app.intake.records import CellReaders, Record, check_once, read_records, record_fault
from app.intake.spellings import OF_CONSUMABLES
from app.intake.tables import read_table

COLUMNS = Columns(
    required=("name",),
    optional=("darkness", "plate", "anilox", "max_speed_m_min", "reel_m"),
    spellings=OF_CONSUMABLES,
)


def _answer(text: str, _: Separators) -> bool:
    return yes_or_no(text)


_READERS = CellReaders(
    by_column={
        "darkness": decimal_number,
        "plate": _answer,
        "max_speed_m_min": decimal_number,
        "reel_m": length_m,
    },
    never_empty=frozenset(COLUMNS.required),
)


def read_consumables(
    path: Path, findings: Findings, mapping: TableMapping = NO_MAPPING
) -> tuple[Consumable, ...] | None:
    """Consumables in the order of their rows, or None with faults.

    What a row leaves empty is not among its consumable's `model_fields_set`: it depends on the layers that
    jobs name it in, and is filled in when they are known.
    """
    rows = read_table(path, COLUMNS, findings, mapping)
    if rows is None:
        return None
    faults_before = len(findings.faults)
    reader = _ConsumableReader(str(path), findings)
    records = read_records(rows, lambda row: _READERS.record(row, str(path), findings), str(path), findings)
    consumables = reader.consumables(records)
    return consumables if len(findings.faults) == faults_before else None


@dataclass(frozen=True, slots=True)
class _ConsumableReader:
    file: str
    findings: Findings

    def consumables(self, records: Sequence[Record]) -> tuple[Consumable, ...]:
        """Consumables of all rows."""
        check_once(self.findings, self.file, records, "name")
        made = (self._consumable(record) for record in records)
        return tuple(consumable for consumable in made if consumable is not None)

    def _fault(self, record: Record, column: str, right: str) -> None:
        record_fault(self.findings, self.file, record, column, right)

    def _consumable(self, record: Record) -> Consumable | None:
        said = {column: value for column, value in record.values.items() if column != "name"}
        try:
            return Consumable.model_validate({"id": record.values["name"], **said})
        except ValidationError as error:
            for fault in contract_faults(error, self.file, COLUMNS.known, record.row.number):
                self._fault(record, "name" if fault.field == "id" else fault.field or "", fault.right)
            return None
