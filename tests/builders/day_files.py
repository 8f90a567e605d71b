"""Writes the sample day's queue and lists as files.

`python -m tests.builders.day_files` writes them anew after a change to its plant or to the drawing.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from decimal import Decimal
from pathlib import Path

from app.contracts.base import plain_number
from app.contracts.jobs import Job
from app.contracts.plant import Die, Plant
from app.documents.list_files import colours_text, finishes_text
from tests.builders.plant_days import SAMPLE_DATA, Day, repeat_mm, sample_day
from tests.builders.stock_rolls import stock_roll_rows

BARE_COLUMNS = ("job", "version", "quantity", "substrate", "die", "colours", "finishes", "due", "customer")
GAP_AROUND_MM = 3
Rows = Iterable[Mapping[str, str]]


def write_day(day: Day, folder: Path) -> None:
    """Write jobs.csv and stock.csv of a day whose plant.json lies beside them."""
    _write(folder / "jobs.csv", job_rows(day.jobs))
    _write(folder / "stock.csv", stock_roll_rows(day.plant))


def write_bare_day(day: Day, folder: Path) -> None:
    """Write the same day as a shop has it: nine columns, a die list and a stock list."""
    _write(folder / "jobs.csv", ({name: row[name] for name in BARE_COLUMNS} for row in job_rows(day.jobs)))
    _write(folder / "dies.csv", die_rows(day.plant))
    _write(folder / "stock.csv", bare_stock_rows(day.plant))


def job_rows(jobs: Iterable[Job]) -> list[dict[str, str]]:
    """One row a version."""
    return [
        {
            "job": job.job,
            "version": version.version,
            "quantity": str(version.quantity),
            "substrate": job.substrate,
            "die": job.die,
            "colours": colours_text(job),
            "finishes": finishes_text(job.finishes),
            "due": "" if job.due is None else job.due.isoformat(timespec="minutes"),
            "customer": job.customer,
            "ready": "" if job.ready is None else job.ready.isoformat(timespec="minutes"),
            "labels_per_reel": "" if job.labels_per_reel is None else str(job.labels_per_reel),
            "core_mm": "" if job.core_mm is None else _number(job.core_mm),
        }
        for job in jobs
        for version in job.versions
    ]


def bare_stock_rows(plant: Plant) -> list[dict[str, str]]:
    """Metres of every substrate and width; what is on order counts as there, since a bare list has no
    deliveries.
    """
    return [
        {
            "code": substrate.code,
            "width_mm": _number(stocked.width_mm),
            "metres": _number(
                sum((delivery.length_m for delivery in stocked.deliveries), stocked.on_hand_m or Decimal(0))
            ),
            "material": substrate.name,
        }
        for substrate in plant.substrates
        for stocked in substrate.widths
    ]


def die_rows(plant: Plant) -> list[dict[str, str]]:
    """The dies as a list on paper has them."""
    return [_die_row(plant, die) for die in plant.dies]


def _die_row(plant: Plant, die: Die) -> dict[str, str]:
    cylinder = next(tool for tool in plant.cylinders if tool.id == die.cylinder)
    label_pitch_mm = repeat_mm(plant, die) / die.around
    return {
        "number": die.id,
        "teeth": str(cylinder.teeth),
        "pitch": cylinder.pitch or "",
        "across": str(die.across),
        "around": str(die.around),
        "label_width_mm": _number(die.label_width_mm),
        "label_height_mm": str(int(label_pitch_mm) - GAP_AROUND_MM),
        "gap_mm": _number(die.gap_across_mm),
        "cylinder": die.cylinder or "",
        "copies": "" if die.copies is None else str(die.copies),
    }


def _number(value: Decimal) -> str:
    return str(plain_number(value))


def _write(path: Path, rows: Rows) -> None:
    rows = list(rows)
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    write_day(sample_day(), SAMPLE_DATA / "day")
    write_bare_day(sample_day(), SAMPLE_DATA / "bare")
