"""The command line: what it prints, what it writes, how it ends."""

from __future__ import annotations

import csv
import json
import os
import signal
from datetime import datetime
from pathlib import Path

import pytest
from click import unstyle
from typer.testing import CliRunner, Result

from app.cli import commands
from app.contracts.sequences import Goal
from app.documents.console import CAUTION
from app.documents.sequence_files import HEADING
from app.intake.order_file import COLUMNS
from app.intake.plant_file import plant_schema
from app.translation.solving import Question
from tests.app.queues import Files, put, sample_plant, sample_rows

WORK = ("--work", "60")


def words(text: str) -> str:
    """A printed page with its blanks and rules made single blanks."""
    return " ".join(
        "".join(" " if mark in "┃│┏┓┗┛┡┩╇╈┻┳━─└┘┴┬┌┐├┤┼" else mark for mark in unstyle(text)).split()
    )


def written(folder: Path) -> dict[str, object]:
    value: dict[str, object] = json.loads((folder / "sequence.json").read_text(encoding="utf-8"))
    return value


def test_a_plan_shows_the_order_its_stops_metres_and_minutes_beside_the_baselines(files: Files) -> None:
    result = files.run("plan", *WORK)
    page = words(result.stdout)
    assert result.exit_code == 0
    assert "Sample site: plan from Mon 1 Mar 2027 06:00 +0100 (Europe/Berlin), goal balanced" in page
    assert "Line H1 # job stock, die changeover, stop by stop stops waste m min prints ends late min" in page
    for job in ("J-2101", "J-2102", "J-2103", "J-2104"):
        assert job in page
    assert "1. run out, at 28.5 m" in page
    assert page.index("this plan") < page.index("as entered") < page.index("by due time")
    assert "Line H1: one minute is worth 18.65 m of waste here." in page
    assert "% above the best possible" in page
    assert CAUTION in page


def test_a_costing_shows_the_runs_in_the_order_given(files: Files) -> None:
    order = files.folder / "order.csv"
    order.write_text("line,job\nH1,J-2101\nH1,J-2103\nH1,J-2104\nH1,J-2102\n", encoding="utf-8")
    result = files.run("cost", "--sequence", str(order), "--goal", "least-waste")
    page = words(result.stdout)
    assert result.exit_code == 0
    for row in (
        "1 J-2101 PAPER-80 330",
        "2 J-2103 PAPER-80 330",
        "3 J-2104 PP-W60 330",
        "4 J-2102 PP-W60 330",
    ):
        assert row in page


def test_the_totals_shown_are_those_written(files: Files) -> None:
    out = files.folder / "out"
    page = words(files.run("plan", *WORK, "--out", str(out)).stdout)
    value = json.loads((out / "sequence.json").read_text(encoding="utf-8"))
    waste_m, total_eur = value["totals"]["waste_m"], value["cost"]["total_eur"]
    (row,) = (part.partition("as entered")[0] for part in page.split("this plan")[1:])
    assert row.split()[0] == f"{waste_m:,.1f}"
    assert row.split()[-1] == f"{total_eur:,.2f}"


@pytest.mark.parametrize("goal", list(Goal))
def test_every_goal_is_taken_and_written(files: Files, goal: Goal) -> None:
    out = files.folder / "deep" / "out"
    assert files.run("plan", *WORK, "--goal", goal.value, "--out", str(out)).exit_code == 0
    assert written(out)["goal"] == goal.value


def test_the_written_files_hold_the_order_and_the_ledger(files: Files) -> None:
    out = files.folder / "out"
    result = files.run("plan", *WORK, "--out", str(out))
    assert f"Written: {out / 'sequence.json'}, {out / 'sequence.csv'}" in result.stdout
    value = json.loads((out / "sequence.json").read_text(encoding="utf-8"))
    with (out / "sequence.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    placed = [(line["line"], run["job"], run["end"]) for line in value["lines"] for run in line["runs"]]
    assert [(row["line"], row["job"], row["end"]) for row in rows] == [
        (line, job, datetime.fromisoformat(end).isoformat()) for line, job, end in placed
    ]
    assert {piece["kind"] for piece in value["ledger"]} >= {"sellable", "set-up strip", "spoilage allowance"}


def test_what_a_plan_writes_is_what_costing_reads() -> None:
    assert set(HEADING) == set(COLUMNS.known)


@pytest.mark.parametrize("name", ["sequence.csv", "sequence.json"])
def test_costing_a_written_plan_prints_the_same_order_and_totals(files: Files, name: str) -> None:
    out = files.folder / "out"
    plan = words(files.run("plan", *WORK, "--out", str(out)).stdout)
    cost = words(files.run("cost", "--sequence", str(out / name)).stdout)
    for ours in (plan.partition("Totals")[0], plan.partition("this plan")[2].partition("as entered")[0]):
        assert ours.strip() in cost
    assert "this order" in cost
    assert "no bound" not in cost


def test_the_same_work_and_seed_write_the_same_files(files: Files) -> None:
    first, second = files.folder / "first", files.folder / "second"
    files.run("plan", *WORK, "--seed", "3", "--out", str(first))
    files.run("plan", *WORK, "--seed", "3", "--out", str(second))
    assert (first / "sequence.json").read_bytes() == (second / "sequence.json").read_bytes()
    assert (first / "sequence.csv").read_bytes() == (second / "sequence.csv").read_bytes()


def test_a_plan_in_seconds_ends(files: Files) -> None:
    assert files.run("plan", "--seconds", "0.2").exit_code == 0


def test_a_start_without_offset_is_read_on_the_sites_clock_and_that_is_said(files: Files) -> None:
    result = files.run("plan", *WORK, "--start", "2027-07-01T06:00")
    page = words(result.stdout)
    assert "Note: --start is read on the site's clock: Thu 1 Jul 2027 06:00 +0200 (Europe/Berlin)." in page
    assert "plan from Thu 1 Jul 2027 06:00 +0200" in page


def test_a_start_with_an_offset_is_taken_as_it_is(files: Files) -> None:
    result = files.run("plan", *WORK, "--start", "2027-03-01T06:00-05:00")
    assert "plan from Mon 1 Mar 2027 12:00 +0100" in words(result.stdout)
    assert "Note" not in result.stdout


def test_a_plan_without_a_start_begins_now(files: Files) -> None:
    plant = sample_plant()
    put(plant, "site.plan_from", None)
    put(plant, "calendar", {})
    files.write_plant(plant)
    out = files.folder / "out"
    before = datetime.now().astimezone()
    assert files.run("plan", *WORK, "--out", str(out)).exit_code == 0
    start = datetime.fromisoformat(str(written(out)["start"]))
    assert 0 <= (start - before).total_seconds() <= 120
    assert start.second == 0


def test_jobs_left_out_are_told_with_their_reasons(files: Files) -> None:
    plant = sample_plant()
    put(plant, "lines.0.stations.4.kind", "flexo")
    files.write_plant(plant)
    page = words(files.run("plan", *WORK).stdout)
    assert "Left out: J-2103: H1: no station can do cold-foil | P1: it has no inkjet; no station" in page


def test_a_version_held_to_its_maximum_is_told(files: Files) -> None:
    rows = sample_rows()
    rows[8]["max_quantity"] = "40000"
    files.write_jobs([row | {"max_quantity": row.get("max_quantity", "")} for row in rows])
    page = words(files.run("plan", *WORK).stdout)
    assert "J-2104, version Refill: held to its maximum of 40,000." in page


def test_a_check_tells_which_line_can_run_what(files: Files) -> None:
    result = files.run("check")
    page = words(result.stdout)
    assert result.exit_code == 0
    assert "4 of 4 jobs can run on some line" in page
    assert "J-2104 H1: can run it ready P1: can run it" in page
    assert "P1: it has no inkjet" in page
    assert "PAPER-80 330 mm" in page


def test_a_check_tells_what_is_not_ready_and_overdue(files: Files) -> None:
    result = files.run("check", "--start", "2027-03-01T08:00+01:00")
    assert "overdue since Mon 1 Mar 07:30" in words(result.stdout)
    rows = [row | {"ready": "2027-03-01T07:00"} for row in sample_rows()]
    files.write_jobs(rows)
    assert "not ready until Mon 1 Mar 07:00" in words(files.run("check").stdout)


def test_the_schema_is_printed_as_json() -> None:
    result = CliRunner().invoke(commands, ["schema"])
    assert json.loads(result.stdout) == plant_schema()


@pytest.mark.parametrize("command", ["plan", "check"])
def test_bad_input_ends_with_2_and_every_fault_of_both_files_on_stderr(files: Files, command: str) -> None:
    plant = sample_plant()
    put(plant, "lines.0.web_width_mm", -1)
    files.write_plant(plant)
    rows = sample_rows()
    rows[0]["quantity"] = "x"
    rows[4]["due"] = "soon"
    files.write_jobs(rows)
    result = files.run(command)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.splitlines()[0] == (
        f"{files.plant}, lines[0].web_width_mm “-1”: should be greater than 0"
    )
    assert f"{files.jobs}, row 2, quantity “x”: should be a whole number above 0" in result.stderr
    assert f"{files.jobs}, row 6, due “soon”" in result.stderr
    assert len(result.stderr.splitlines()) == 3


def test_a_contradiction_that_only_the_solver_sees_is_bad_input_too(files: Files) -> None:
    plant = sample_plant()
    put(plant, "dies.0.repeat_mm", 300)
    files.write_plant(plant)
    result = files.run("plan", *WORK)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "die D-101 has repeat 300000 µm, its cylinder M-96 304800 µm" in result.stderr


def test_an_order_that_cannot_be_run_is_refused_by_row(files: Files) -> None:
    order = files.folder / "order.csv"
    order.write_text("line,job\nP1,J-2101\nH1,J-2102\n", encoding="utf-8")
    result = files.run("cost", "--sequence", str(order))
    assert result.exit_code == 2
    assert f"{order}, row 2, job “J-2101”: cannot run on P1: it has no inkjet" in result.stderr
    assert f"{order}, job “J-2103”: must be in the order: a line can run it" in result.stderr
    assert f"{order}, job “J-2104”: must be in the order: a line can run it" in result.stderr


@pytest.mark.parametrize("command", ["plan", "check"])
def test_nothing_that_can_run_ends_with_3_and_the_reasons(files: Files, command: str) -> None:
    plant = sample_plant()
    put(plant, "lines.0.web_width_mm", 300)
    put(plant, "lines.1.web_width_mm", 300)
    files.write_plant(plant)
    result = files.run(command, *(WORK if command == "plan" else ()))
    assert result.exit_code == 3
    assert "No job of the queue can run." in result.stderr
    assert "is wider than the line's 300 mm" in result.stdout + result.stderr


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--seconds", "nan"), "--seconds"),
        (("--seconds", "inf"), "--seconds “inf”: should be a number of seconds"),
        (("--seconds", "-1"), "--seconds"),
        (("--work", "0"), "--work"),
        (("--goal", "cheapest"), "--goal"),
        (("--start", "tomorrow"), "--start “tomorrow”: should be a date and time"),
        (("--start", "2027-03-01"), "--start “2027-03-01”: should be a date and time"),
        (("--plant", "nowhere.json"), "nowhere.json: no such file"),
        (("--plant", "sample_data/nowhere.json"), "nowhere.json: no such file"),
    ],
)
def test_options_that_are_wrong_end_with_2(files: Files, options: tuple[str, ...], told: str) -> None:
    result = files.run("plan", *options)
    assert result.exit_code == 2
    assert told in words(result.stderr)


def test_a_folder_that_cannot_be_written_ends_with_2(files: Files) -> None:
    result = files.run("plan", *WORK, "--out", str(files.plant))
    assert result.exit_code == 2
    assert "--out" in result.stderr
    assert "cannot be written" in result.stderr


def test_ctrl_c_ends_the_search_and_keeps_what_it_has(files: Files, monkeypatch: pytest.MonkeyPatch) -> None:
    search = Question.plan

    def interrupted(question: Question, *arguments: object) -> object:
        os.kill(os.getpid(), signal.SIGINT)
        return search(question, *arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(Question, "plan", interrupted)
    result = files.run("plan", "--seconds", "60")
    assert result.exit_code == 0
    assert "this plan" in words(result.stdout)


def test_samples_are_read_from_the_package_where_the_folder_has_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result: Result = CliRunner().invoke(
        commands,
        [
            *("plan", "--plant", "sample_data/small/plant.json", "--jobs", "sample_data/small/jobs.csv"),
            *WORK,
        ],
    )
    assert result.exit_code == 0
    assert "Note: sample_data/small/plant.json is not in this folder" in words(result.stdout)


def test_the_version_is_told() -> None:
    assert CliRunner().invoke(commands, ["--version"]).stdout.startswith("runwright ")
