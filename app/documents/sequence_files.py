"""A plan's sequence and its alternatives as files: all of each as JSON, its order as CSV.

Either can be costed again.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from app.contracts.sequences import CostedPlan, Lot, Run, Sequence
from app.documents.comparison import comparison, file_stem
from app.documents.contract_file import write_contract
from app.documents.figures import plain

COMPARISON_NAME = "alternatives.json"
HEADING = (
    "line",
    "job",
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
)
"""A job without a line is left out. Labels are those of a lot, counted from 1 over the job's versions."""


def write_plan(costed_plan: CostedPlan, folder: Path) -> tuple[Path, ...]:
    """Write a plan's sequence, its alternatives and their comparison; those of an older plan are removed.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    written = [*write_sequence(costed_plan.sequence, folder)]
    for older in [folder / COMPARISON_NAME, *folder.glob("alternative-[1-9].*")]:
        if older.suffix in (".json", ".csv"):
            older.unlink(missing_ok=True)
    if costed_plan.alternatives:
        written.append(write_contract(comparison(costed_plan), folder / COMPARISON_NAME))
    for alternative in costed_plan.alternatives:
        written += write_sequence(alternative.sequence, folder, file_stem(alternative.name))
    return tuple(written)


def write_sequence(sequence: Sequence, folder: Path, stem: str = "sequence") -> tuple[Path, Path]:
    """Write both files into a folder, which is made if need be; they replace older ones.

    Raises
    ------
    OSError
        Where the folder cannot be written.
    """
    json_path, csv_path = folder / f"{stem}.json", folder / f"{stem}.csv"
    write_contract(sequence, json_path)
    with csv_path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([HEADING, *_rows(sequence)])
    return json_path, csv_path


def _rows(sequence: Sequence) -> Iterator[tuple[object, ...]]:
    for line in sequence.lines:
        for run in line.runs:
            yield (line.line, *_run_cells(run))
    for left_out in sequence.left_out:
        yield ("", left_out.job, *_label_cells(left_out.lot), *("" for _ in HEADING[4:]))


def _label_cells(lot: Lot | None) -> tuple[object, object]:
    return ("", "") if lot is None else (lot.first_label, lot.last_label)


def _run_cells(run: Run) -> tuple[object, ...]:
    changeover = run.changeover
    return (
        run.job,
        *_label_cells(run.lot),
        ";".join(run.stations),
        run.substrate,
        plain(run.width_mm),
        run.die,
        run.changeover_start.isoformat(),
        run.print_start.isoformat(),
        run.end.isoformat(),
        run.press_due.isoformat() if run.press_due else "",
        plain(run.late_min),
        len(changeover.stops) if changeover else "",
        plain(changeover.waste_m) if changeover else "",
        plain(changeover.minutes) if changeover else "",
        plain(run.run_min),
        plain(run.web_m),
    )
