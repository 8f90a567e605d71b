"""The README says what the program does."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click import unstyle
from typer.testing import CliRunner

from app.cli import commands
from app.contracts.sequences import Goal
from app.intake import jobs_file

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^\| `runwright (\w+)[^|]*\| ([^|]*)\|$", README, flags=re.MULTILINE)


def test_the_set_up_command_plans_the_sample(monkeypatch: pytest.MonkeyPatch) -> None:
    (line,) = re.findall(r"^python3 -m venv .*runwright plan.*$", README, flags=re.MULTILINE)
    program, *options = shlex.split(line.rpartition("&&")[2])
    assert program == ".venv/bin/runwright"
    monkeypatch.chdir(ROOT)
    options[options.index("--seconds") + 1] = "0.1"
    result = CliRunner().invoke(commands, options)
    assert result.exit_code == 0
    assert "this plan" in result.stdout


def test_every_command_is_there_with_every_option_named() -> None:
    assert {name for name, _ in COMMANDS} == {"plan", "cost", "check", "schema"}
    for name, told in COMMANDS:
        usage = unstyle(CliRunner().invoke(commands, [name, "--help"], env={"COLUMNS": "200"}).stdout)
        offered = set(re.findall(r"--[a-z]+", usage)) - {"--help", "--plant", "--jobs", "--sequence"}
        assert set(re.findall(r"--[a-z]+", told)) == offered


def test_every_column_and_goal_is_named() -> None:
    for column in jobs_file.COLUMNS.known:
        assert re.search(rf"\b{column}\b", README), column
    for goal in Goal:
        assert f"`{goal.value}`" in README
