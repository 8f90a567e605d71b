"""Plant and jobs files made from the sample by changing what a test is about."""

from __future__ import annotations

import copy
import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from app.cli import commands

SAMPLE = Path(__file__).parents[2] / "sample_data" / "small"
_PLANT: dict[str, Any] = json.loads((SAMPLE / "plant.json").read_text(encoding="utf-8"))


def sample_plant() -> dict[str, Any]:
    """The sample's plant as JSON has it, to be changed at will."""
    return copy.deepcopy(_PLANT)


def sample_rows() -> list[dict[str, str]]:
    """The sample's job rows, to be changed at will."""
    with (SAMPLE / "jobs.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def put(value: Any, place: str, new: Any) -> None:
    """Set a place such as `lines.0.stations.2.kind` inside a JSON value."""
    *way, last = [int(part) if part.isdigit() else part for part in place.split(".")]
    for part in way:
        value = value[part]
    value[last] = new


@dataclass
class Files:
    """A plant and a jobs file in a folder."""

    folder: Path

    @property
    def plant(self) -> Path:
        return self.folder / "plant.json"

    @property
    def jobs(self) -> Path:
        return self.folder / "jobs.csv"

    def write_plant(self, plant: dict[str, Any]) -> None:
        self.plant.write_text(json.dumps(plant), encoding="utf-8")

    def write_jobs(self, rows: Iterable[dict[str, str]]) -> None:
        rows = list(rows)
        columns = list(dict.fromkeys(column for row in rows for column in row))
        with self.jobs.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, restval="")
            writer.writeheader()
            writer.writerows(rows)

    def run(self, command: str, *options: str) -> Result:
        """Run a command on the two files."""
        return CliRunner().invoke(
            commands, [command, "--plant", str(self.plant), "--jobs", str(self.jobs), *options]
        )


def sample_files(folder: Path) -> Files:
    """The sample, written out into a folder."""
    files = Files(folder)
    files.write_plant(sample_plant())
    files.write_jobs(sample_rows())
    return files
