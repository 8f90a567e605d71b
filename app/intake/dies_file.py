"""A shop's die list, from a CSV or XLSX file, one row a die."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from app.contracts.faults import contract_faults
from app.contracts.plant import Cylinder, Die
from app.intake.cells import decimal_number, gear_pitch, whole_number, whole_number_or_zero
from app.intake.defaults import Defaults
from app.intake.filled import Filled
from app.intake.findings import Findings
from app.intake.headings import Columns
from app.intake.mapping_file import NO_MAPPING, TableMapping
from app.intake.records import CellReaders, Record, check_once, read_records, record_fault
from app.intake.repeats import repeat_length_mm
from app.intake.spellings import OF_DIES
from app.intake.tables import read_table

COLUMNS = Columns(
    required=("number", "across", "around", "label_width_mm"),
    optional=(
        "teeth",
        "repeat_mm",
        "pitch",
        "label_height_mm",
        "gap_across_mm",
        "gap_around_mm",
        "cylinder",
        "print_cylinder",
        "copies",
        "min_liner_um",
        "max_liner_um",
    ),
    spellings=OF_DIES,
)
_OF_DIE = (
    "across",
    "around",
    "label_width_mm",
    "gap_across_mm",
    "cylinder",
    "print_cylinder",
    "copies",
    "min_liner_um",
    "max_liner_um",
)

_READERS = CellReaders(
    by_column={
        "across": whole_number,
        "around": whole_number,
        "label_width_mm": decimal_number,
        "teeth": whole_number,
        "repeat_mm": decimal_number,
        "pitch": gear_pitch,
        "label_height_mm": decimal_number,
        "gap_across_mm": decimal_number,
        "gap_around_mm": decimal_number,
        "copies": whole_number_or_zero,
        "min_liner_um": whole_number,
        "max_liner_um": whole_number,
    },
    never_empty=frozenset(COLUMNS.required),
)


@dataclass(frozen=True, slots=True)
class DieList:
    """What a die list gives: dies, the cylinders they name, and what was filled in for each die."""

    dies: tuple[Filled[Die], ...]
    cylinders: tuple[Filled[Cylinder], ...]


def read_dies(
    path: Path, defaults: Defaults, findings: Findings, mapping: TableMapping = NO_MAPPING
) -> DieList | None:
    """Dies in the order of their rows, or None with faults.

    A die's repeat is its repeat_mm, else its teeth and their pitch, else that of another row on the same
    cylinder, else its labels' height and gap around.
    """
    rows = read_table(path, COLUMNS, findings, mapping)
    if rows is None:
        return None
    faults_before = len(findings.faults)
    reader = _DieReader(str(path), defaults, findings)
    records = read_records(rows, lambda row: _READERS.record(row, str(path), findings), str(path), findings)
    found = reader.list_of(records)
    return found if len(findings.faults) == faults_before else None


@dataclass(frozen=True, slots=True)
class _Repeat:
    """A repeat as a contract holds it, and why where it was filled in."""

    fields: dict[str, Any]
    filled: dict[str, str]


@dataclass(frozen=True, slots=True)
class _DieReader:
    file: str
    defaults: Defaults
    findings: Findings

    def list_of(self, records: Sequence[Record]) -> DieList:
        """Dies and cylinders of all rows."""
        check_once(self.findings, self.file, records, "number")
        repeats = self._repeats(records)
        cylinders = self._cylinders(records, repeats)
        dies = []
        for record, repeat in zip(records, repeats, strict=True):
            die = self._die(record, repeat, cylinders)
            if die is not None:
                dies.append(die)
        return DieList(tuple(dies), tuple(cylinders.values()))

    def _fault(self, record: Record, column: str, right: str) -> None:
        record_fault(self.findings, self.file, record, column, right)

    def _repeats(self, records: Sequence[Record]) -> list[_Repeat | None]:
        """The repeat of each row; None where another row gives it with the same cylinder, or with faults."""
        own = [self._own_repeat(record) for record in records]
        given = {
            record.values.get("cylinder")
            for record, repeat in zip(records, own, strict=True)
            if repeat is not None
        } - {None}
        return [
            repeat or (None if record.values.get("cylinder") in given else self._repeat_of_labels(record))
            for record, repeat in zip(records, own, strict=True)
        ]

    def _own_repeat(self, record: Record) -> _Repeat | None:
        """The repeat that a row says itself."""
        values = record.values
        if "repeat_mm" in values:
            if "teeth" in values:
                self._fault(record, "teeth", "should not be given beside repeat_mm")
            return _Repeat({"repeat_mm": values["repeat_mm"]}, {})
        if "teeth" not in values:
            return None
        if "pitch" in values:
            return _Repeat({"teeth": values["teeth"], "pitch": values["pitch"]}, {})
        usual = self.defaults.gear_pitch()
        return _Repeat({"teeth": values["teeth"], "pitch": usual.value}, {"pitch": usual.reason})

    def _cylinders(
        self, records: Sequence[Record], repeats: Sequence[_Repeat | None]
    ) -> dict[str, Filled[Cylinder]]:
        """Cylinders by number, each with the repeat of the first row that says one."""
        cylinders: dict[str, Filled[Cylinder]] = {}
        first: dict[str, tuple[_Repeat, int]] = {}
        for record, repeat in zip(records, repeats, strict=True):
            for column in ("cylinder", "print_cylinder"):
                number = record.values.get(column)
                if number is None or repeat is None:
                    continue
                said = first.setdefault(number, (repeat, record.row.number))
                if said[0].fields != repeat.fields:
                    right = f"should have the repeat that row {said[1]} gives the same cylinder"
                    self._fault(record, column, right)
                elif number not in cylinders:
                    cylinder = self._made(Cylinder, {"id": number, **repeat.fields}, record)
                    if cylinder is not None:
                        cylinders[number] = Filled(cylinder, repeat.filled)
        return cylinders

    def _die(
        self, record: Record, repeat: _Repeat | None, cylinders: dict[str, Filled[Cylinder]]
    ) -> Filled[Die] | None:
        values = record.values
        fields = {column: values[column] for column in _OF_DIE if column in values}
        if repeat is None and values.get("cylinder") not in cylinders:
            return None
        if repeat is None and values.get("print_cylinder", values["cylinder"]) not in cylinders:
            self._fault(record, "print_cylinder", "should have its repeat_mm or teeth given in this list")
            return None
        own = repeat or _Repeat({}, {})
        die = self._made(Die, {"id": values["number"], **own.fields, **fields}, record)
        if die is None:
            return None
        cut_by = die if repeat else cylinders[values["cylinder"]].value
        length_mm = repeat_length_mm(cut_by.repeat_mm, cut_by.teeth, cut_by.pitch)
        if not self._labels_fit(record, length_mm):
            return None
        return Filled(die, own.filled)

    def _repeat_of_labels(self, record: Record) -> _Repeat | None:
        values = record.values
        if "label_height_mm" not in values or "gap_around_mm" not in values:
            right = "must be given, or teeth, or label_height_mm with gap_around_mm"
            self.findings.fault(self.file, right, row=record.row.number, field="repeat_mm")
            return None
        pitch_mm = values["label_height_mm"] + values["gap_around_mm"]
        reason = f"From the list: {values['around']} labels of {pitch_mm} mm with their gap."
        return _Repeat({"repeat_mm": values["around"] * pitch_mm}, {"repeat_mm": reason})

    def _labels_fit(self, record: Record, repeat_mm: Decimal | None) -> bool:
        """Whether labels as high as the row says have room in the repeat."""
        height: Decimal | None = record.values.get("label_height_mm")
        if height is None or repeat_mm is None or height * record.values["around"] <= repeat_mm:
            return True
        around = record.values["around"]
        right = f"{around} of them around are {around * height} mm, more than the repeat of {repeat_mm} mm"
        self._fault(record, "label_height_mm", right)
        return False

    def _made(self, contract: type[Any], fields: dict[str, Any], record: Record) -> Any:
        try:
            return contract.model_validate(fields)
        except ValidationError as error:
            for fault in contract_faults(error, self.file, COLUMNS.known, record.row.number):
                column = "number" if fault.field == "id" else fault.field or ""
                self._fault(record, column, fault.right)
            return None
