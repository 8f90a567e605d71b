"""The README says what the program does."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import cast

import pytest
from click import unstyle
from typer.core import TyperGroup
from typer.main import get_command
from typer.testing import CliRunner

from app.cli import commands
from app.contracts.sequences import Goal
from app.intake import jobs_file

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PLANS = re.findall(r"^\.venv/bin/runwright plan .*$", README, flags=re.MULTILINE)
COMMANDS = re.findall(r"^\| `runwright ([\w-]+)[^|]*\| ([^|]*)\|$", README, flags=re.MULTILINE)
OPTION = re.compile(r"--[a-z][a-z-]*")


def test_the_first_command_is_the_demo() -> None:
    first, second, *_ = re.findall(r"^python3 -m venv .*$", README, flags=re.MULTILINE)
    assert first.endswith("&& .venv/bin/runwright demo")
    assert second.endswith("&& .venv/bin/pytest -q")


@pytest.mark.parametrize("line", PLANS)
def test_the_example_plans_can_be_run(line: str, monkeypatch: pytest.MonkeyPatch) -> None:
    program, *options = shlex.split(line)
    assert program == ".venv/bin/runwright"
    monkeypatch.chdir(ROOT)
    if "--seconds" in options:
        options[options.index("--seconds") + 1] = "0.1"
    else:
        options += ["--work", "20"]
    result = CliRunner().invoke(commands, options)
    assert result.exit_code == 0, result.output
    assert "this plan" in result.stdout


def test_the_output_shown_is_what_the_small_queue_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    (shown,) = re.findall(r"```text\n(.*?)```", README, flags=re.DOTALL)
    monkeypatch.chdir(ROOT)
    sample = [
        f"--{name}=sample_data/small/{name}.{end}" for name, end in (("plant", "json"), ("jobs", "csv"))
    ]
    printed = CliRunner().invoke(commands, ["plan", *sample, "--work=3000"]).stdout
    lines = [line.rstrip() for line in printed.splitlines()]
    assert [line for line in shown.splitlines() if line != "…" and line not in lines] == []


def test_every_command_is_there_with_every_option_named() -> None:
    assert {name for name, _ in COMMANDS} == set(cast("TyperGroup", get_command(commands)).commands)
    (of_the_queue,) = re.findall(r"^The queue's options: (.*?)\n\n", README, flags=re.MULTILINE | re.DOTALL)
    for name, told in COMMANDS:
        usage = unstyle(CliRunner().invoke(commands, [name, "--help"], env={"COLUMNS": "200"}).stdout)
        named = set(OPTION.findall(told)) | set(
            OPTION.findall(of_the_queue) if "the queue's options" in told else ()
        )
        assert named == set(OPTION.findall(usage)) - {"--help", "--sequence"}


def test_every_column_and_goal_is_named() -> None:
    for column in jobs_file.COLUMNS.known:
        assert re.search(rf"\b{column}\b", README), column
    for goal in Goal:
        assert f"`{goal.value}`" in README
