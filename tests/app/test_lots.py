"""Split jobs and runs that run as one, from the jobs file to what people read."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import pytest
from rich.console import Console

from app.contracts.jobs import Job
from app.contracts.orders import LabelRange, LeftOutLot, LineOrder, OrderedRun, RunOrder
from app.contracts.sequences import CostedPlan, Goal, Run
from app.documents.console import plan_page
from app.documents.report import report_html
from app.documents.sequence_files import write_sequence
from app.drawings.web_strip import stop_marks
from app.errors import BadInput
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.intake.order_file import read_order
from app.services import planning
from app.translation.perturbing import Effort, SameQueue
from app.translation.solving import Question
from solver.lots import total_labels
from tests.app.costed_plans import QUEUE
from tests.app.queues import Files, sample_rows

START = datetime(2027, 3, 1, 6)
SPLIT, APART = "J-2103", "J-2101"


def with_lots(jobs: Sequence[Job], **changes: object) -> tuple[Job, ...]:
    """The sample's jobs, one of which may be split."""
    return tuple(
        job.model_copy(update={"least_lot": 100, **changes}) if job.job == SPLIT else job for job in jobs
    )


JOBS = with_lots(QUEUE.jobs)
TOTAL = total_labels(Question(QUEUE.plant, JOBS, START).problem, [job.job for job in JOBS].index(SPLIT))
CUT = TOTAL // 3


def lot_run(first: int, last: int) -> OrderedRun:
    return OrderedRun(job=SPLIT, lot=LabelRange(first_label=first, last_label=last))


def order(*runs: OrderedRun, left_out_lots: tuple[LeftOutLot, ...] = ()) -> RunOrder:
    placed = {run.job for run in runs}
    return RunOrder(
        lines=(LineOrder(line="H1", runs=runs),),
        left_out=tuple(job.job for job in JOBS if job.job not in placed),
        left_out_lots=left_out_lots,
        file="order.csv",
    )


AROUND = order(lot_run(CUT + 1, TOTAL), OrderedRun(job=APART), lot_run(1, CUT))


def costed(run_order: RunOrder = AROUND, jobs: Sequence[Job] = JOBS) -> CostedPlan:
    return planning.cost(Question(QUEUE.plant, jobs, START), run_order, Goal.BALANCED)


def runs_of(costed_plan: CostedPlan) -> tuple[Run, ...]:
    return next(line.runs for line in costed_plan.sequence.lines if line.line == "H1")


def text_of(costed_plan: CostedPlan) -> str:
    console = Console(width=160)
    with console.capture() as capture:
        for part in plan_page(costed_plan):
            console.print(part)
    return capture.get()


def test_a_jobs_file_says_which_jobs_may_be_split_and_joined(files: Files) -> None:
    rows = [row | {"least_lot": "5000", "may_join": "yes"} for row in sample_rows()[8:9]]
    rows.append(rows[0] | {"job": "J-3000", "least_lot": "", "may_join": ""})
    files.write_jobs(rows)
    findings = Findings()
    jobs = read_jobs(files.jobs, QUEUE.plant, findings)
    assert findings.faults == []
    assert [(job.least_lot, job.may_join) for job in jobs] == [(5000, True), (None, False)]


@pytest.mark.parametrize(
    ("column", "text", "right"),
    [
        ("least_lot", "0", "whole number above 0"),
        ("least_lot", "many", "whole number above 0"),
        ("may_join", "perhaps", "should be yes or no"),
    ],
)
def test_what_is_neither_is_refused_with_its_row(files: Files, column: str, text: str, right: str) -> None:
    files.write_jobs([sample_rows()[8] | {column: text}])
    findings = Findings()
    read_jobs(files.jobs, QUEUE.plant, findings)
    (fault,) = findings.faults
    assert (fault.row, fault.field, fault.value) == (2, column, text)
    assert right in fault.right


def test_versions_of_one_job_must_agree_on_its_least_lot(files: Files) -> None:
    rows = [row | {"least_lot": "500"} for row in sample_rows()[:2]]
    files.write_jobs([rows[0], rows[1] | {"least_lot": "600"}])
    findings = Findings()
    read_jobs(files.jobs, QUEUE.plant, findings)
    assert [(fault.row, fault.field) for fault in findings.faults] == [(3, "least_lot")]


def test_lots_are_told_in_the_order_of_their_labels_whatever_runs_first() -> None:
    runs = runs_of(costed())
    assert [run.name for run in runs] == [f"{SPLIT}, lot 2 of 2", APART, f"{SPLIT}, lot 1 of 2"]
    assert sum(version.target for run in (runs[0], runs[2]) for version in run.versions) == TOTAL
    assert costed().sequence.totals.jobs == 2


@pytest.mark.parametrize("name", ["sequence.csv", "sequence.json"])
def test_a_written_order_of_lots_is_costed_to_the_same_again(tmp_path: Path, name: str) -> None:
    left_out = (LeftOutLot(job=SPLIT, lot=LabelRange(first_label=CUT + 1, last_label=2 * CUT)),)
    for run_order in (
        AROUND,
        order(lot_run(2 * CUT + 1, TOTAL), lot_run(1, CUT), left_out_lots=left_out),
    ):
        first = costed(run_order)
        write_sequence(first.sequence, tmp_path)
        findings = Findings()
        read = read_order(tmp_path / name, QUEUE.plant, JOBS, findings)
        assert findings.faults == []
        assert read is not None
        assert costed(read).sequence == first.sequence


def test_a_lot_left_out_is_told_by_name() -> None:
    left_out = (LeftOutLot(job=SPLIT, lot=LabelRange(first_label=CUT + 1, last_label=TOTAL)),)
    plan = costed(order(lot_run(1, CUT), left_out_lots=left_out))
    part = next(part for part in plan.sequence.left_out if part.job == SPLIT)
    assert part.name == f"{SPLIT}, lot 2 of 2"
    assert part.reasons == (f"the order does not place its labels {CUT + 1} to {TOTAL}",)
    assert f"Left out: {SPLIT}, lot 2 of 2: the order does not place" in text_of(plan)
    assert f"{SPLIT}, lot 2 of 2" in report_html(plan)


@pytest.mark.parametrize(
    ("runs", "jobs", "right"),
    [
        ([lot_run(1, CUT)], JOBS, f"has no lot with labels {CUT + 1} to {TOTAL}"),
        ([lot_run(1, CUT), lot_run(CUT, TOTAL)], JOBS, f"has labels {CUT} to {CUT} in two lots"),
        ([lot_run(1, CUT), lot_run(CUT + 1, TOTAL)], QUEUE.jobs, "is never split: it has no least lot"),
        ([lot_run(1, 99), lot_run(100, TOTAL)], JOBS, "less than its least lot of 100"),
    ],
)
def test_an_order_that_splits_a_job_wrongly_is_refused(
    runs: list[OrderedRun], jobs: Sequence[Job], right: str
) -> None:
    with pytest.raises(BadInput) as refused:
        costed(order(*runs), jobs)
    assert [fault for fault in refused.value.faults if fault.field == "first_label" and right in fault.right]
    assert all(fault.value == SPLIT and fault.file == "order.csv" for fault in refused.value.faults)


def test_screen_and_report_name_every_lot() -> None:
    plan = costed()
    screen, page = text_of(plan), report_html(plan)
    for name in ("lot 1 of 2", "lot 2 of 2"):
        assert name in screen
        assert f"{SPLIT}, {name}" in page
    assert f"labels {CUT + 1:,} to {TOTAL:,} of the job" in page


def test_the_drawing_numbers_stops_and_web_by_run_not_by_job() -> None:
    plan = costed()
    (line,) = (line for line in plan.sequence.lines if line.line == "H1")
    pieces = [piece for piece in plan.sequence.ledger if piece.line == "H1"]
    assert {(piece.run, piece.job) for piece in pieces if piece.cause == "run"} == {
        (1, SPLIT),
        (2, APART),
        (3, SPLIT),
    }
    marks = {(mark.name.partition(".")[0], mark.job) for mark in stop_marks(line, pieces)}
    assert ("3", f"{SPLIT}, lot 1 of 2") in marks


def test_lots_that_follow_each_other_are_said_to_run_as_one() -> None:
    plan = costed(order(lot_run(1, CUT), lot_run(CUT + 1, TOTAL)))
    _, second = runs_of(plan)
    assert second.changeover is not None
    assert second.changeover.joined
    assert second.changeover_start == second.print_start
    assert plan.sequence.totals.changeovers["joined"] == 1
    assert "runs as one with the run before" in text_of(plan)
    assert "Runs as one with the run before" in report_html(plan)


@pytest.mark.parametrize(("name", "line", "alike"), [(APART, "H1", True), ("J-2104", "P1", False)])
def test_the_same_work_for_two_customers_runs_as_one_but_for_plates(
    name: str, line: str, alike: bool
) -> None:
    """Every job has plates of its own, so one with a plated layer is made like no other."""
    job = next(job for job in QUEUE.jobs if job.job == name).model_copy(update={"may_join": True})
    other = job.model_copy(update={"job": "J-2105"})
    runs = (OrderedRun(job=name), OrderedRun(job="J-2105"))
    both = RunOrder(lines=(LineOrder(line=line, runs=runs),))
    sequence = planning.cost(Question(QUEUE.plant, (job, other), START), both, Goal.BALANCED).sequence
    changeovers = [run.changeover for line_runs in sequence.lines for run in line_runs.runs]
    assert [changeover.joined for changeover in changeovers if changeover] == [False, alike]


def test_where_a_plant_makes_other_numbers_of_labels_the_lots_keep_their_shares() -> None:
    queue = SameQueue(Question(QUEUE.plant, JOBS, START), Goal.BALANCED)
    effort = Effort(None, 100, lambda: False)
    planned = queue.planned(costed().sequence, effort)
    generous = QUEUE.plant.model_copy(update={"overs_pct": QUEUE.plant.overs_pct + 50})
    fitted_anew = queue.costed(generous, planned.order, effort)
    assert fitted_anew is not None
    assert fitted_anew.left_out == planned.left_out
    lots = sorted(placed.lot for line in fitted_anew.order for placed in line if placed.lot is not None)
    grown = total_labels(Question(generous, JOBS, START).problem, [job.job for job in JOBS].index(SPLIT))
    assert grown > TOTAL
    assert (lots[0].first, lots[0].last, lots[1].last) == (0, CUT * grown // TOTAL, grown)
    anew = queue.reordered(generous, planned.order, effort, effort.part(1, 50), 0)
    assert anew is not None
    assert anew.left_out == fitted_anew.left_out
