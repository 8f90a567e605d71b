"""An order to be costed, from CSV or from the JSON that a plan writes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from app.contracts.base import Code, Count, Word
from app.contracts.faults import contract_faults
from app.contracts.jobs import Job
from app.contracts.known_names import unknown
from app.contracts.orders import LabelRange, LeftOutLot, LineOrder, OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.intake.cell_error import CellError
from app.intake.cells import whole_number
from app.intake.findings import Findings
from app.intake.json_text import read_contract
from app.intake.tables import Columns, Row, read_table

COLUMNS = Columns(
    required=("line", "job"),
    optional=(
        "first_label",
        "last_label",
        "stations",
        "substrate",
        "width_mm",
        "die",
        "changeover_start",
        "print_start",
        "end",
        "press_due",
        "late_min",
        "stops",
        "changeover_m",
        "changeover_min",
        "run_min",
        "web_m",
    ),
)
"""line, job, labels and stations decide; the rest is what a plan writes beside them, and is passed over."""

OF_LOT = ("first_label", "last_label")


class _LotEntry(BaseModel):
    model_config = ConfigDict(extra="ignore")
    first_label: Count
    last_label: Count

    @property
    def labels(self) -> LabelRange:
        return LabelRange(first_label=self.first_label, last_label=self.last_label)


class _RunEntry(BaseModel):
    model_config = ConfigDict(extra="ignore")
    job: Code
    lot: _LotEntry | None = None
    stations: tuple[Word, ...] | None = None


class _LineEntry(BaseModel):
    model_config = ConfigDict(extra="ignore")
    line: Code
    runs: tuple[_RunEntry, ...]


class _LeftOutEntry(BaseModel):
    model_config = ConfigDict(extra="ignore")
    job: Code
    lot: _LotEntry | None = None


class _SequenceFile(BaseModel):
    model_config = ConfigDict(extra="ignore")
    lines: tuple[_LineEntry, ...]
    left_out: tuple[_LeftOutEntry, ...] = ()


def read_order(path: Path, plant: Plant | None, jobs: Sequence[Job], findings: Findings) -> RunOrder | None:
    """An order of runs, or None with faults. Whether each line can run its jobs is not looked at."""
    faults_before = len(findings.faults)
    order = _from_json(path, findings) if path.suffix.lower() == ".json" else _from_csv(path, findings)
    if order is None or len(findings.faults) > faults_before:
        return None
    if plant is not None and jobs:
        check_order(order, plant, jobs, str(path), findings)
    return order


def _from_json(path: Path, findings: Findings) -> RunOrder | None:
    sequence = read_contract(path, _SequenceFile, findings)
    if sequence is None:
        return None
    return RunOrder(
        lines=tuple(
            LineOrder(
                line=entry.line,
                runs=tuple(
                    OrderedRun(job=run.job, stations=run.stations, lot=run.lot.labels if run.lot else None)
                    for run in entry.runs
                ),
            )
            for entry in sequence.lines
        ),
        left_out=tuple(entry.job for entry in sequence.left_out if entry.lot is None),
        left_out_lots=tuple(
            LeftOutLot(job=entry.job, lot=entry.lot.labels) for entry in sequence.left_out if entry.lot
        ),
        file=str(path),
    )


def _from_csv(path: Path, findings: Findings) -> RunOrder | None:
    rows = read_table(path, COLUMNS, findings)
    if rows is None:
        return None
    lines: dict[str, list[OrderedRun]] = {}
    left_out: list[str] = []
    left_out_lots: list[LeftOutLot] = []
    for row in rows:
        if not row.cells["job"]:
            findings.fault(str(path), "must not be empty", row=row.number, field="job")
            continue
        run = _ordered_run(row, str(path), findings)
        if run is None:
            continue
        if row.cells["line"]:
            lines.setdefault(row.cells["line"], []).append(run)
        elif run.lot is not None:
            left_out_lots.append(LeftOutLot(job=run.job, lot=run.lot, row=run.row))
        else:
            left_out.append(run.job)
    return RunOrder(
        lines=tuple(LineOrder(line=line, runs=tuple(runs)) for line, runs in lines.items()),
        left_out=tuple(left_out),
        left_out_lots=tuple(left_out_lots),
        file=str(path),
    )


def _ordered_run(row: Row, file: str, findings: Findings) -> OrderedRun | None:
    stations = row.cells.get("stations")
    named = [part.strip() for part in stations.split(";")] if stations else None
    faults_before = len(findings.faults)
    lot = _labels(row, file, findings)
    if len(findings.faults) > faults_before:
        return None
    try:
        return OrderedRun.model_validate(
            {"job": row.cells["job"], "stations": named, "lot": lot, "row": row.number}
        )
    except ValidationError as error:
        findings.faults += contract_faults(error, file, (), row.number)
        return None


def _labels(row: Row, file: str, findings: Findings) -> LabelRange | None:
    """The labels of a row's lot; None where it has none, or with faults."""
    texts = {column: row.cells.get(column, "") for column in OF_LOT}
    if not any(texts.values()):
        return None
    labels: dict[str, int] = {}
    for column, text in texts.items():
        try:
            if not text:
                raise CellError("must be given where the other end of the lot is")
            labels[column] = whole_number(text, row.separators_of(column))
        except CellError as error:
            findings.fault(file, str(error), row=row.number, field=column, value=text or None)
    if len(labels) < len(OF_LOT):
        return None
    return _range(labels["first_label"], labels["last_label"], file, row.number, findings)


def _range(first: int, last: int, file: str, row: int | None, findings: Findings) -> LabelRange | None:
    if last < first:
        right = f"should be at least the first label, {first}"
        findings.fault(file, right, row=row, field="last_label", value=str(last))
        return None
    return LabelRange(first_label=first, last_label=last)


def check_order(
    order: RunOrder, plant: Plant, jobs: Sequence[Job], file: str | None, findings: Findings
) -> None:
    """Note lines, jobs and stations that nobody knows, and jobs that are there twice."""
    lines = {line.id: line for line in plant.lines}
    by_id = {job.job: job for job in jobs}
    seen: dict[str, bool] = {}
    for line_order in order.lines:
        if not line_order.runs and line_order.line not in lines:
            right = unknown("line", line_order.line, lines)
            findings.fault(file, right, field="line", value=line_order.line)
    placed = [(line_order.line, run) for line_order in order.lines for run in line_order.runs]
    placed += [("", OrderedRun(job=job_id)) for job_id in order.left_out]
    placed += [("", OrderedRun(job=left.job, lot=left.lot, row=left.row)) for left in order.left_out_lots]
    for line_id, run in placed:
        if line_id and line_id not in lines:
            findings.fault(file, unknown("line", line_id, lines), row=run.row, field="line", value=line_id)
        if run.job not in by_id:
            findings.fault(file, unknown("job", run.job, by_id), row=run.row, field="job", value=run.job)
        elif run.job in seen and not (seen[run.job] and run.lot is not None):
            in_lots = seen[run.job] or run.lot is not None
            right = (
                "should be there once only, or with first_label and last_label in each row"
                if in_lots
                else "should be there once only"
            )
            findings.fault(file, right, row=run.row, field="job", value=run.job)
        seen.setdefault(run.job, run.lot is not None)
        if line_id in lines and run.job in by_id and run.stations is not None:
            known = {station.id for station in lines[line_id].stations}
            _check_stations(run, known, by_id[run.job], file, findings)


def _check_stations(run: OrderedRun, known: set[str], job: Job, file: str | None, findings: Findings) -> None:
    stations = run.stations or ()
    for station in stations:
        if station not in known:
            findings.fault(
                file, unknown("station", station, known), row=run.row, field="stations", value=station
            )
    layers = [layer.kind for group in job.finishes for layer in group]
    if len(stations) != len(layers) + 1:
        findings.fault(
            file,
            f"should name a station for each of {', '.join([*layers, 'die'])} of {run.job}, parted by ;",
            row=run.row,
            field="stations",
            value=";".join(stations),
        )
