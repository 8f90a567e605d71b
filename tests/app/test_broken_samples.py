"""Every file of sample_data/broken is refused for what its README says is planted in it, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

from app.cli import commands
from app.errors import BadInput, Fault
from app.intake.dies_file import read_dies
from app.intake.findings import Findings
from app.intake.queue import read_queue
from app.intake.stock_file import read_stock
from app.refusals import BAD_INPUT
from tests.app.queues import SAMPLE
from tests.app.usual import FixedDefaults

BROKEN = SAMPLE.parent / "broken"


@dataclass(frozen=True)
class Planted:
    """One fault as the README lists it."""

    file: str
    row: int | None
    field: str | None
    value: str | None
    said: str

    def is_told_by(self, fault: Fault) -> bool:
        return (fault.row, fault.field, fault.value) == (
            self.row,
            self.field,
            self.value,
        ) and fault.right.startswith(self.said)


def planted_faults() -> Iterator[Planted]:
    for line in (BROKEN / "README.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("| `"):
            file, row, field, value, said = (
                cell.strip().strip("`") for cell in line.strip("| ").split(" | ")
            )
            yield Planted(file, int(row) if row else None, field or None, value or None, said)


PLANTED = list(planted_faults())
FILES = sorted(
    path.name for path in BROKEN.iterdir() if re.search(r"_(jobs|plant|stock|rolls|dies)\.\w+$", path.name)
)


def paths_with(name: str) -> tuple[Path, Path]:
    """A plant and a jobs file, one of which is the broken one."""
    kind = name.partition(".")[0].rpartition("_")[2]
    return (
        BROKEN / name if kind == "plant" else SAMPLE / "plant.json",
        BROKEN / name if kind == "jobs" else SAMPLE / "jobs.csv",
    )


def faults_of(name: str) -> tuple[Fault, ...]:
    findings = Findings()
    if name.endswith("_stock.csv"):
        read_stock(BROKEN / name, FixedDefaults(), findings)
        return tuple(findings.faults)
    if name.endswith("_dies.csv"):
        read_dies(BROKEN / name, FixedDefaults(), findings)
        return tuple(findings.faults)
    stock_path = BROKEN / name if name.endswith("_rolls.csv") else None
    with pytest.raises(BadInput) as refused:
        read_queue(*paths_with(name), stock_path=stock_path)
    return refused.value.faults


def test_the_readme_lists_every_file_and_no_other() -> None:
    assert sorted({planted.file for planted in PLANTED}) == FILES
    assert len(FILES) > 100


@pytest.mark.parametrize("name", FILES)
def test_a_broken_file_is_refused_for_what_is_planted_and_nothing_else(name: str) -> None:
    planted = [fault for fault in PLANTED if fault.file == name]
    faults = faults_of(name)
    assert len(faults) == len(planted)
    assert all(any(one.is_told_by(fault) for fault in faults) for one in planted)
    assert {fault.file for fault in faults} == {str(BROKEN / name)}


@pytest.mark.parametrize("name", [name for name in FILES if re.search(r"_(jobs|plant|rolls)\.", name)])
def test_the_command_line_ends_with_2_and_names_each_planted_fault(name: str) -> None:
    plant, jobs = paths_with(name)
    options = ["--plant", str(plant), "--jobs", str(jobs), "--work", "1"]
    options += ["--stock", str(BROKEN / name)] if name.endswith("_rolls.csv") else []
    result = CliRunner().invoke(commands, ["plan", *options])
    told = [line for line in result.stderr.splitlines() if str(BROKEN / name) in line]
    planted = [fault for fault in PLANTED if fault.file == name]
    assert result.exit_code == BAD_INPUT
    assert result.stdout == ""
    assert len(told) == len(planted)
    for one in planted:
        assert any(one.said in line and (one.row is None or f"row {one.row}" in line) for line in told)
