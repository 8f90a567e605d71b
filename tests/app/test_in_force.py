"""A sequence in force as a file, and what a plan and a costing say of the runs that they move."""

from __future__ import annotations

import json
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from click import unstyle
from typer.testing import Result

from app.contracts.sequences import Cost, CostedPlan, Goal
from app.errors import BadInput, Fault
from app.intake.in_force_file import NAMED
from app.intake.queue import Queue
from app.intake.sources import QueueSource, read_source
from app.services import planning
from app.translation.alternatives import Trade
from app.translation.perturbing import Effort, SameQueue
from app.translation.solving import Question
from solver.trade_offs import Objectives
from tests.app.pages import Page
from tests.app.queues import Files, put, sample_plant

KEPT = "line,job\nH1,J-2101\nH1,J-2103\nH1,J-2104\nH1,J-2102\n"
OTHER = "line,job\nH1,J-2103\nH1,J-2101\nP1,J-2104\nH1,J-2102\n"
"""No run of it follows the job that it follows in `KEPT`."""


def write(files: Files, text: str, name: str = "in-force.csv") -> Path:
    path = files.folder / name
    path.write_text(text, encoding="utf-8")
    return path


def read(files: Files, text: str, name: str = "in-force.csv") -> Queue:
    return read_source(QueueSource(files.jobs, files.plant, in_force=write(files, text, name)))


def faults_of(files: Files, text: str, name: str = "in-force.csv") -> tuple[Fault, ...]:
    with pytest.raises(BadInput) as refused:
        read(files, text, name)
    return refused.value.faults


def costed(files: Files, order: str, in_force: str | None) -> CostedPlan:
    """An order, costed while another may be in force."""
    queue = read(files, order)
    assert queue.in_force is not None
    assert queue.plant.site.plan_from is not None
    kept = None if in_force is None else read(files, in_force).in_force
    start = queue.plant.site.plan_from
    return planning.cost(
        Question(queue.plant, queue.jobs, start, in_force=kept), queue.in_force, Goal.BALANCED
    )


def run(files: Files, command: str, in_force: str, *options: str) -> Result:
    return files.run(command, "--in-force", str(write(files, in_force)), *options)


def page_of(result: Result) -> str:
    assert result.exit_code == 0, result.output
    return " ".join(unstyle(result.stdout).split())


def assert_adds_up(cost: Cost) -> None:
    parts = (cost.waste_eur, cost.changeover_eur, cost.waiting_eur, cost.late_eur, cost.moved_eur)
    assert cost.controllable_eur == sum(parts)
    assert cost.total_eur == cost.controllable_eur + cost.running_eur


def test_a_costing_tells_the_moved_runs_and_what_they_cost(files: Files) -> None:
    order = write(files, KEPT, "order.csv")
    page = page_of(run(files, "cost", OTHER, "--sequence", str(order)))
    named = "J-2101 (H1), J-2103 (H1), J-2104 (H1), J-2102 (H1)"
    assert f"Against the sequence in force 4 runs are moved, 40.00 €: {named}." in page
    with_moves, without = costed(files, KEPT, OTHER), costed(files, KEPT, None)
    assert with_moves.sequence.cost.moved_eur == 40
    assert with_moves.sequence.cost.total_eur == without.sequence.cost.total_eur + 40
    assert with_moves.sequence.totals.moved_runs == 4
    assert without.sequence.totals.moved_runs is None
    for each in (with_moves.sequence.cost, *(baseline.cost for baseline in with_moves.baselines)):
        assert_adds_up(each)


def test_one_run_that_stays_is_not_marked(files: Files) -> None:
    sequence = costed(files, KEPT, "line,job\nH1,J-2101\nH1,J-2103\nP1,J-2104\nH1,J-2102\n").sequence
    runs = {run.job: run.moved for line in sequence.lines for run in line.runs}
    assert runs == {"J-2101": False, "J-2103": False, "J-2104": True, "J-2102": True}
    assert sequence.cost.moved_eur == 20


def test_an_order_is_not_moved_against_itself_and_stands_among_the_baselines(files: Files) -> None:
    order = write(files, KEPT, "order.csv")
    page = page_of(run(files, "cost", KEPT, "--sequence", str(order)))
    assert "No run of the sequence in force is moved." in page
    plan = costed(files, KEPT, KEPT)
    assert [baseline.name for baseline in plan.baselines] == ["as entered", "by due time", "in force"]
    assert plan.baselines[-1].cost == plan.sequence.cost
    assert [baseline.name for baseline in costed(files, KEPT, None).baselines] == [
        "as entered",
        "by due time",
    ]


def test_a_dear_move_keeps_the_sequence_in_force_and_a_cheap_one_does_not(files: Files) -> None:
    plant, moved_runs = sample_plant(), []
    for price in (0, 10_000):
        put(plant, "moved_run_eur", price)
        files.write_plant(plant)
        out = files.folder / "out"
        page_of(run(files, "plan", OTHER, "--work", "2000", "--out", str(out)))
        written = json.loads((out / "sequence.json").read_text(encoding="utf-8"))
        moved_runs.append(written["totals"]["moved_runs"])
        assert Decimal(str(written["cost"]["moved_eur"])) == price * moved_runs[-1]
    assert moved_runs[0] > 0
    assert moved_runs[1] == 0


def test_the_sequence_of_a_plan_is_read_as_it_was_written(files: Files) -> None:
    out = files.folder / "first"
    page_of(files.run("plan", "--work", "500", "--out", str(out)))
    for name in ("sequence.json", "sequence.csv"):
        page = page_of(files.run("plan", "--work", "500", "--in-force", str(out / name)))
        assert "No run of the sequence in force is moved." in page


def test_the_report_has_a_line_and_a_column_of_them_only_while_one_is_in_force(files: Files) -> None:
    order, out = write(files, KEPT, "order.csv"), files.folder / "out"
    page_of(run(files, "cost", OTHER, "--sequence", str(order), "--out", str(out)))
    html = (out / "report.html").read_text(encoding="utf-8")
    assert any("4 runs are moved, 40.00 €" in text for text in Page(html).texts("p"))
    assert "moved runs" in Page(html).texts("th")
    assert html.count("moved against the sequence in force") == 4
    page_of(files.run("cost", "--sequence", str(order), "--out", str(out)))
    plain = (out / "report.html").read_text(encoding="utf-8")
    assert "moved" not in plain


def test_the_reasons_and_a_comparison_tell_moved_runs_among_the_causes(files: Files) -> None:
    order, other = write(files, KEPT, "order.csv"), write(files, OTHER, "other.csv")
    page = page_of(run(files, "cost", OTHER, "--sequence", str(order), "--explain"))
    assert "than in force, without running:" in page
    assert "moved runs +40.00 € (+4)" in page
    compared = page_of(files.run("compare", str(order), str(other), "--in-force", str(other)))
    assert "moved runs +40.00 € (+4)" in compared
    assert "moved runs on H1 (+4)" in compared


def test_an_alternative_tells_the_runs_that_it_moves_beside_those_of_the_recommended_order() -> None:
    ours, theirs = Objectives(40_000_000, 0, Fraction(0)), Objectives(20_000_000, 0, Fraction(0))
    assert Trade(ours, theirs, 0, Fraction(30), 2).text == (
        "Saves 20 m of web (2 more moved runs); 30 € dearer in all, by running time, moved runs, line rates "
        "or stock prices."
    )
    assert Trade(ours, theirs, 1, Fraction(-5), -1).text == (
        "Saves 20 m of web (1 more late job, 1 fewer moved run); 5 € cheaper in all."
    )


def test_jobs_that_are_done_are_no_fault_but_told_once(files: Files) -> None:
    done = "".join(f"H1,D-{number}\n" for number in range(NAMED + 2))
    queue = read(files, KEPT.replace("H1,J-2104\n", f"{done}H1,J-2104\n"))
    assert queue.notes[-1] == (
        "in-force.csv: 7 jobs are not in the queue and left out of the sequence in force: "
        "D-0, D-1, D-2, D-3, D-4 and 2 more."
    )
    order = write(files, KEPT, "order.csv")
    printed = run(files, "cost", KEPT.replace("H1,J-2104\n", "H1,D-0\nH1,J-2104\n"), "--sequence", str(order))
    assert page_of(printed).count("1 job is not in the queue") == 1
    assert "No run of the sequence in force is moved." in page_of(printed)


def test_what_it_leaves_out_and_stations_that_are_gone_do_not_matter(files: Files) -> None:
    rows = "line,job,stations\n,J-2101,\nH1,J-2103,no such station\nH1,J-2102,\n"
    queue = read(files, rows)
    assert queue.in_force is not None
    result = run(files, "plan", rows, "--work", "200")
    assert result.exit_code == 0, result.output


@pytest.mark.parametrize(
    ("text", "row", "field", "right"),
    [
        ("line,job\nH1,J-2101\nH9,J-2103\n", 3, "line", "unknown line; the nearest known one is “H1”"),
        ("line,job\nH1,J-2101\nP1,J-2101\n", 3, "job", "should be there once only, or with first_label"),
        ("line,job\nH1,D-1\nP1,D-1\n", 3, "job", "should be there once only, or with first_label"),
        ("line,job\nH1,\n", 2, "job", "must not be empty"),
        (
            "line,job,first_label,last_label\nH1,J-2101,1,500\nP1,J-2101,500,900\n",
            3,
            "first_label",
            "labels of J-2101 should be in one of its lots only",
        ),
        (
            "line,job,first_label,last_label\nH1,J-2101,1,500\nP1,J-2101,,\n",
            3,
            "job",
            "should be there once only, or with first_label",
        ),
        ("line,job,first_label,last_label\nH1,J-2101,9,5\n", 2, "last_label", "should be at least the first"),
    ],
)
def test_a_fault_names_row_and_field_and_what_would_be_right(
    files: Files, text: str, row: int, field: str, right: str
) -> None:
    (fault,) = faults_of(files, text)
    assert (fault.row, fault.field) == (row, field)
    assert right in str(fault)


def test_a_line_that_is_there_twice_in_a_json_file_is_refused(files: Files) -> None:
    entry = {"line": "H1", "runs": [{"job": "J-2101"}]}
    faults = faults_of(files, json.dumps({"lines": [entry, entry | {"runs": []}]}), "in-force.json")
    assert {(fault.field, fault.value) for fault in faults} == {("line", "H1")}


def test_more_lots_than_a_job_may_have_are_refused_by_its_name(files: Files) -> None:
    rows = "".join(f"H1,J-2101,{at * 100 + 1},{at * 100 + 100}\n" for at in range(4))
    result = run(files, "plan", f"line,job,first_label,last_label\n{rows}", "--work", "10")
    assert result.exit_code == 2
    assert "job J-2101 is there in more than 3 lots" in unstyle(result.stderr)


def test_its_faults_are_told_beside_those_of_the_jobs(files: Files) -> None:
    files.jobs.write_text("job\n", encoding="utf-8")
    fields = {fault.field for fault in faults_of(files, "line,job\nH1,J-1\nH1,J-1\n")}
    assert "job" in fields
    assert len(fields) > 1


def test_a_file_that_is_not_there_is_refused_with_its_name(files: Files) -> None:
    result = files.run("plan", "--in-force", str(files.folder / "none.csv"), "--work", "10")
    assert result.exit_code == 2
    assert "none.csv" in unstyle(result.stderr)


def test_a_plant_without_the_price_has_ours_and_it_is_said(files: Files) -> None:
    plant = sample_plant()
    del plant["moved_run_eur"]
    files.write_plant(plant)
    queue = read(files, KEPT)
    assert queue.plant.moved_run_eur == 10
    assert queue.notes[-1] == (
        "moved_run_eur is not in the plant: a moved run is priced at 10.00 €, a round figure of ours without "
        "a source."
    )
    assert read_source(QueueSource(files.jobs, files.plant)).notes == queue.notes[:-1]
    put(plant, "moved_run_eur", -1)
    files.write_plant(plant)
    assert [fault.field for fault in faults_of(files, KEPT)] == ["moved_run_eur"]


def test_an_assumed_price_is_tried_against_the_sequence_in_force(files: Files) -> None:
    """What a preset assumes is taken lower and higher under the same sequence in force."""
    queue, plan = read(files, OTHER), costed(files, KEPT, OTHER)
    assert queue.plant.site.plan_from is not None
    question = Question(queue.plant, queue.jobs, queue.plant.site.plan_from, in_force=queue.in_force)
    same = SameQueue(question, Goal.BALANCED)
    effort = Effort(None, 10, lambda: False)
    planned = same.planned(plan.sequence, effort)
    assert planned.total_eur == plan.sequence.cost.total_eur
    dearer = same.costed(queue.plant.model_copy(update={"moved_run_eur": Decimal(13)}), planned.order, effort)
    assert dearer is not None
    assert dearer.total_eur - planned.total_eur == 4 * 3
