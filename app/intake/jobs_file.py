"""Jobs from a CSV or XLSX file, one row a version."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from app.contracts.base import at_site
from app.contracts.faults import contract_faults
from app.contracts.job_rules import with_inkjet
from app.contracts.jobs import INKJET, MOST_LAYERS, Job, Layer, SpliceRule, Version
from app.contracts.known_names import unknown
from app.contracts.plant import Plant
from app.intake.cells import (
    NameLayer,
    colour_set,
    decimal_number,
    layer_groups,
    percentage,
    splice_rule,
    whole_number,
    whole_number_or_zero,
    winding,
    yes_or_no,
)
from app.intake.findings import Findings
from app.intake.headings import Columns
from app.intake.layer_names import LayerNames
from app.intake.mapping_file import NO_MAPPING, TableMapping
from app.intake.moments import due_moment, ready_moment
from app.intake.records import CellReaders, ReadCell, Record, read_records
from app.intake.references import layer_kinds
from app.intake.spellings import COLOUR_WORDS, OF_JOBS
from app.intake.tables import Row, read_table

COLUMNS = Columns(
    required=("job", "version", "quantity", "substrate", "die", "colours", "finishes", "due", "customer"),
    optional=(
        "ready",
        "overs_pct",
        "max_quantity",
        "full_reels",
        "labels_per_reel",
        "core_mm",
        "roll_width_mm",
        "late_eur",
        "late_eur_per_h",
        "least_lot",
        "may_join",
        "splice_rule",
        "most_splices_a_reel",
        "largest_reel_mm",
        "winding",
    ),
    spellings=OF_JOBS,
)
NEVER_EMPTY = frozenset(("job", "version", "quantity", "substrate", "die"))
OF_VERSION = ("version", "quantity", "overs_pct", "max_quantity")
OF_JOB = tuple(column for column in COLUMNS.known if column not in OF_VERSION)

_READ_WHEN_EMPTY = frozenset(("colours", "finishes"))


def _plainly(read: Callable[[str], Any]) -> ReadCell:
    """A reader to which separators of numbers do not matter."""
    return lambda text, _: read(text)


def _readers(name_layer: NameLayer) -> CellReaders:
    by_column: dict[str, ReadCell] = {
        "quantity": whole_number,
        "colours": _plainly(colour_set),
        "finishes": _plainly(lambda text: layer_groups(text, name_layer)),
        "due": _plainly(due_moment),
        "ready": _plainly(ready_moment),
        "overs_pct": percentage,
        "max_quantity": whole_number,
        "full_reels": _plainly(yes_or_no),
        "labels_per_reel": whole_number,
        "core_mm": decimal_number,
        "roll_width_mm": decimal_number,
        "late_eur": decimal_number,
        "late_eur_per_h": decimal_number,
        "least_lot": whole_number,
        "may_join": _plainly(yes_or_no),
        "splice_rule": _plainly(splice_rule),
        "most_splices_a_reel": whole_number_or_zero,
        "largest_reel_mm": decimal_number,
        "winding": _plainly(winding),
    }
    return CellReaders(by_column, NEVER_EMPTY, _READ_WHEN_EMPTY)


def read_jobs(
    path: Path,
    plant: Plant | None,
    findings: Findings,
    mapping: TableMapping = NO_MAPPING,
    *,
    unchecked: frozenset[str] = frozenset(),
) -> tuple[Job, ...]:
    """Jobs in the order of their first rows.

    Where anything is wrong the findings say so, and what is returned is not to be used. Without a
    plant (its own file was refused) codes are not checked; nor are those named in `unchecked`: substrate,
    die, consumable.
    """
    rows = read_table(path, COLUMNS, findings, mapping)
    if rows is None:
        return ()
    reader = _JobReader(str(path), plant, findings, unchecked)
    readers = _readers(LayerNames(plant, str(path), findings).layer)
    records = read_records(rows, lambda row: reader.record(row, readers), str(path), findings)
    jobs = reader.jobs(records)
    reader.note_assumptions(jobs)
    reader.note_days(records)
    return jobs


@dataclass(frozen=True, slots=True)
class _JobReader:
    file: str
    plant: Plant | None
    findings: Findings

    unchecked: frozenset[str]

    def record(self, row: Row, readers: CellReaders) -> Record:
        """A row's values, with faults where cells cannot be read or do not go together."""
        record = readers.record(row, self.file, self.findings)
        self._check_amounts(row, record.values)
        self._check_reels(row, record.values)
        self._check_times(row, record.values.get("ready"), record.values.get("due"))
        self._check_layering(row, record.values)
        if self.plant is not None:
            self._check_codes(row, record.values, self.plant)
        self._note_colours(row.cells["colours"], record.values.get("colours"))
        return record

    def jobs(self, records: Iterable[Record]) -> tuple[Job, ...]:
        """Records put together by job."""
        by_job: dict[str, list[Record]] = {}
        for record in records:
            by_job.setdefault(record.values["job"], []).append(record)
        made = (self._job(rows) for rows in by_job.values())
        return tuple(job for job in made if job is not None)

    def note_assumptions(self, jobs: Iterable[Job]) -> None:
        """Say what was assumed about times."""
        jobs = tuple(jobs)
        zone = self.plant.site.zone if self.plant else "its zone"
        for column in ("due", "ready"):
            local = [
                job.job for job in jobs if (at := getattr(job, column)) is not None and at.tzinfo is None
            ]
            if local:
                self.findings.note(
                    f"{self.file}: {column} without an offset is read on the site's clock ({zone}): "
                    f"{_some(local)}"
                )
        undue = [job.job for job in jobs if job.due is None]
        if undue:
            self.findings.note(f"{self.file}: no due time, so never late: {_some(undue)}")

    def note_days(self, records: Iterable[Record]) -> None:
        """Say what was assumed about dates without a time of day."""
        records = tuple(records)
        for column, meaning in (("due", "the end"), ("ready", "the beginning")):
            days = [
                record.values["job"]
                for record in records
                if column in record.values and ":" not in record.row.cells[column]
            ]
            if days:
                self.findings.note(
                    f"{self.file}: {column} as a date alone is {meaning} of that day: "
                    f"{_some(list(dict.fromkeys(days)))}"
                )

    def _fault(self, row: Row, column: str, right: str) -> None:
        value = row.cells.get(column) or None
        self.findings.fault(self.file, right, row=row.number, field=column, value=value)

    def _note_colours(self, text: str, channels: tuple[str, ...] | None) -> None:
        if channels is not None and any(part.strip().casefold() in COLOUR_WORDS for part in text.split("+")):
            read = ", ".join(channels) or "no inkjet"
            self.findings.note(f"{self.file}: the colours “{text}” are read as {read}.")

    def _check_amounts(self, row: Row, values: dict[str, Any]) -> None:
        quantity, maximum = values.get("quantity"), values.get("max_quantity")
        if quantity is not None and maximum is not None and maximum < quantity:
            self._fault(row, "max_quantity", f"should be at least the quantity, {quantity}")
        if values.get("full_reels") and not row.cells.get("labels_per_reel"):
            self._fault(row, "labels_per_reel", "must be given where only full reels are taken")

    def _check_reels(self, row: Row, values: dict[str, Any]) -> None:
        if values.get("splice_rule") is SpliceRule.NEVER and values.get("most_splices_a_reel"):
            self._fault(row, "most_splices_a_reel", "should be 0 or empty where a splice may never lie")
        core_mm, largest_mm = values.get("core_mm"), values.get("largest_reel_mm")
        if core_mm is not None and largest_mm is not None and largest_mm <= core_mm:
            self._fault(row, "largest_reel_mm", f"should be larger than the core, {row.cells['core_mm']} mm")

    def _check_times(self, row: Row, ready: datetime | None, due: datetime | None) -> None:
        if ready is None or due is None:
            return
        if self.plant is not None:
            zone = self.plant.site.zone_info
            ready, due = at_site(ready, zone), at_site(due, zone)
        if (ready.tzinfo is None) == (due.tzinfo is None) and due < ready:
            self._fault(row, "due", f"should not be before the job's own ready time, {row.cells['ready']}")

    def _check_layering(self, row: Row, values: dict[str, Any]) -> None:
        if "finishes" not in values or "colours" not in values:
            return
        marks = sum(layer.kind == INKJET for group in values["finishes"] for layer in group)
        if marks > 1:
            self._fault(row, "finishes", "should mark the inkjet's place once")
        elif marks and not values["colours"]:
            self._fault(row, "finishes", "should not mark the inkjet's place where colours is empty")
        layers = sum(map(len, with_inkjet(values["finishes"], bool(values["colours"]))))
        if layers > MOST_LAYERS:
            self._fault(row, "finishes", f"should hold at most {MOST_LAYERS} layers, the inkjet's among them")

    def _check_codes(self, row: Row, values: dict[str, Any], plant: Plant) -> None:
        self._check_code(row, "substrate", {substrate.code for substrate in plant.substrates})
        self._check_code(row, "die", {die.id for die in plant.dies})
        consumables = {consumable.id for consumable in plant.consumables}
        kinds = layer_kinds(plant) | {INKJET}
        for layer in (layer for group in values.get("finishes", ()) for layer in group):
            self._check_layer(row, layer, kinds, consumables)

    def _check_code(self, row: Row, column: str, known: set[str]) -> None:
        code = row.cells[column]
        if code and column not in self.unchecked and code not in known:
            self._fault(row, column, unknown(column, code, known))

    def _check_layer(self, row: Row, layer: Layer, kinds: set[str], consumables: set[str]) -> None:
        consumable = None if "consumable" in self.unchecked else layer.consumable
        if layer.kind not in kinds:
            value = layer.kind
            right = unknown("kind of layer", layer.kind, kinds)
        elif consumable is not None and consumable not in consumables:
            value = consumable
            right = unknown("consumable", consumable, consumables)
        else:
            return
        self.findings.fault(self.file, right, row=row.number, field="finishes", value=value)

    def _job(self, records: list[Record]) -> Job | None:
        first = records[0]
        faults_before = len(self.findings.faults)
        for record in records[1:]:
            self._check_agrees(first, record)
        self._check_versions(records)
        if len(self.findings.faults) > faults_before:
            return None
        of_job = {column: first.values[column] for column in OF_JOB if column in first.values}
        of_job["finishes"] = with_inkjet(of_job["finishes"], bool(of_job["colours"]))
        versions = [version for record in records if (version := self._version(record)) is not None]
        if len(versions) < len(records):
            return None
        try:
            return Job.model_validate({**of_job, "versions": versions})
        except ValidationError as error:
            self.findings.faults += contract_faults(error, self.file, COLUMNS.known, first.row.number)
            return None

    def _version(self, record: Record) -> Version | None:
        of_version = {column: record.values[column] for column in OF_VERSION if column in record.values}
        try:
            return Version.model_validate(of_version)
        except ValidationError as error:
            self.findings.faults += contract_faults(error, self.file, COLUMNS.known, record.row.number)
            return None

    def _check_agrees(self, first: Record, record: Record) -> None:
        for column in OF_JOB:
            if record.values.get(column) != first.values.get(column):
                said = first.row.cells[column]
                self._fault(
                    record.row,
                    column,
                    f"should be “{said}” as in row {first.row.number} of the same job {first.values['job']}",
                )

    def _check_versions(self, records: list[Record]) -> None:
        rows: dict[str, int] = {}
        for record in records:
            version = record.values["version"]
            if version in rows:
                self._fault(
                    record.row,
                    "version",
                    f"should be there once: row {rows[version]} has it for the same job already",
                )
            rows.setdefault(version, record.row.number)


_MOST_NAMED = 5


def _some(names: list[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more
