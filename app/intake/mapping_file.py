"""A shop's own headings, from a JSON file.

    {"quantity": "Menge", "due": "Liefertermin", "stock": {"code": "Artikel", "sheet": "Lager"}}

Names outside count for every table; those under `jobs`, `dies`, `stock` or `consumables` for that table
alone. `sheet` names the sheet of an XLSX workbook.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from app.contracts.known_names import unknown
from app.intake.findings import Findings
from app.intake.json_text import NOT_READ, read_json

SHEET = "sheet"


@dataclass(frozen=True, slots=True)
class TableMapping:
    """Headings of one table by column of ours, and the sheet it stands on; None is the first."""

    heading_by_column: Mapping[str, str] = field(default_factory=dict)
    sheet: str | None = None


NO_MAPPING = TableMapping()


def read_mapping(
    path: Path, columns_by_table: Mapping[str, Iterable[str]], findings: Findings
) -> dict[str, TableMapping]:
    """The mapping of each table; faults where the file names what no table has."""
    value = read_json(path, findings)
    if value is NOT_READ:
        return {}
    if not isinstance(value, dict):
        findings.fault(str(path), "should be an object in braces {}: our column, then the heading")
        return {}
    tables = {table: frozenset(columns) for table, columns in columns_by_table.items()}
    return _Mapping(value, tables, str(path), findings).by_table()


@dataclass(frozen=True)
class _Mapping:
    value: dict[str, Any]
    tables: dict[str, frozenset[str]]
    file: str
    findings: Findings

    def by_table(self) -> dict[str, TableMapping]:
        everywhere = {name: entry for name, entry in self.value.items() if name not in self.tables}
        columns = frozenset[str]().union(*self.tables.values())
        for_all = self._headings(everywhere, columns, "")
        return {table: self._of_table(table, for_all) for table in self.tables}

    def _of_table(self, table: str, for_all: Mapping[str, str]) -> TableMapping:
        own = self.value.get(table, {})
        if not isinstance(own, dict):
            self.findings.fault(self.file, "should be an object in braces {}", field=table)
            own = {}
        columns = self.tables[table]
        named = {name: heading for name, heading in for_all.items() if name in columns or name == SHEET}
        named |= self._headings(own, columns, f"{table}.")
        sheet = named.pop(SHEET, None)
        self._check_once(named, table)
        return TableMapping(named, sheet)

    def _headings(self, entries: Mapping[str, Any], columns: frozenset[str], place: str) -> dict[str, str]:
        headings: dict[str, str] = {}
        for name, heading in entries.items():
            if name not in columns and name != SHEET:
                self.findings.fault(self.file, unknown("column", name, columns), field=f"{place}{name}")
            elif not isinstance(heading, str) or not heading.strip():
                self.findings.fault(self.file, "should be a heading in quotes", field=f"{place}{name}")
            else:
                headings[name] = heading.strip()
        return headings

    def _check_once(self, named: Mapping[str, str], table: str) -> None:
        first: dict[str, str] = {}
        for column, heading in named.items():
            other = first.setdefault(heading.casefold(), column)
            if other != column:
                right = f"should stand for one column of {table}, stands for {other} too"
                self.findings.fault(self.file, right, field=column, value=heading)
