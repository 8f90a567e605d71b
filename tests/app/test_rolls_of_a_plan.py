"""A costed order tells which roll its web is of, the same everywhere and whenever it is asked for."""

from __future__ import annotations

import csv
import json
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from app.cli import commands
from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.roll_use import MissingStock
from app.contracts.sequences import CostedPlan, Goal
from app.documents.console import plan_page
from app.documents.report import report_html
from app.documents.report_rolls import laid_rolls
from app.documents.sequence_files import write_sequence
from app.intake.queue import Queue, read_queue
from app.services import floor, planning
from app.translation.solving import Question
from tests.app.test_cli import words
from tests.builders.plant_days import SAMPLE_DATA, sample_day

DAY = SAMPLE_DATA / "day"
START = sample_day().start
FILES = ("--jobs", str(DAY / "jobs.csv"), "--plant", str(DAY / "plant.json"))
STOCK = ("--stock", str(DAY / "stock.csv"))


@pytest.fixture(scope="module")
def queue() -> Queue:
    return read_queue(DAY / "plant.json", DAY / "jobs.csv", stock_path=DAY / "stock.csv")


@pytest.fixture(scope="module")
def order(queue: Queue) -> RunOrder:
    """Every third job on the first line that can run it; the others left out."""
    fits = {job.job: job.lines for job in planning.check(Question(queue.plant, queue.jobs, START)).jobs}
    lines: dict[str, list[OrderedRun]] = {line.id: [] for line in queue.plant.lines}
    left_out: list[str] = []
    for number, job in enumerate(queue.jobs):
        line = next((fit.line for fit in fits[job.job] if not fit.reasons), None)
        if number % 3 or line is None:
            left_out.append(job.job)
        else:
            lines[line].append(OrderedRun(job=job.job))
    ordered = tuple(LineOrder(line=line, runs=tuple(runs)) for line, runs in lines.items())
    return RunOrder(lines=ordered, left_out=tuple(left_out))


@pytest.fixture(scope="module")
def costed(queue: Queue, order: RunOrder) -> CostedPlan:
    return planning.cost(Question(queue.plant, queue.jobs, START), order, Goal.BALANCED)


def test_the_papers_of_a_plan_take_the_rolls_that_it_chose(
    queue: Queue, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where jobs are left out."""
    unlike = queue.jobs[1].model_copy(update={"job": "too wide", "roll_width_mm": Decimal(9999)})
    jobs = [*queue.jobs[::8], unlike]
    question = Question(queue.plant, jobs, START)
    plan = planning.plan(question, Goal.BALANCED, work=50)
    assert plan.sequence.left_out
    monkeypatch.setattr("app.translation.solving.cheapest_rolls", None)
    assert floor.papers_of_plan(question, plan).ledger.rolls == plan.sequence.rolls


def run(*arguments: str) -> Result:
    return CliRunner().invoke(commands, arguments)


def test_every_metre_of_every_line_is_of_one_roll_but_what_was_threaded_before(costed: CostedPlan) -> None:
    """Nobody has said which roll is on P1: what it holds when the plan begins is of none in the store."""
    sequence = costed.sequence
    for line in sequence.lines:
        web = [piece for piece in sequence.ledger if piece.line == line.line]
        if not web:
            continue
        threaded_m = sum((piece.length_m for piece in web if piece.run == 0), Decimal(0))
        rolls = laid_rolls(sequence, line.line)
        ends = [threaded_m if line.line == "P1" else Decimal(0)]
        ends += [end for roll in rolls for end in (roll.from_m, roll.to_m)]
        ends += [web[-1].to_m]
        assert all(before == behind for before, behind in list(pairwise(ends))[::2])
    assert sequence.rolls


def test_parts_of_a_roll_are_as_long_as_it_is(costed: CostedPlan) -> None:
    for roll in costed.sequence.rolls or ():
        assert sum(part.length_m for part in roll.parts) == roll.length_m


def test_the_report_lists_the_rolls_of_every_line_and_draws_them(costed: CostedPlan) -> None:
    page = report_html(costed)
    for line in costed.sequence.lines:
        for roll in laid_rolls(costed.sequence, line.line):
            assert f'<span class="key">{roll.roll}</span>' in page
            assert roll.on_web.title in page


def test_what_rolls_cost_beside_their_splices_is_in_the_total(costed: CostedPlan) -> None:
    cost = costed.sequence.cost
    parts = cost.waste_eur + cost.changeover_eur + cost.waiting_eur + cost.running_eur + cost.late_eur
    assert cost.stubs_eur > 0
    assert cost.total_eur == parts + cost.stubs_eur + cost.moved_eur


def test_the_ledger_of_the_same_order_has_the_same_rolls_and_web(
    queue: Queue, order: RunOrder, costed: CostedPlan
) -> None:
    ledger = floor.papers(Question(queue.plant, queue.jobs, START), order, Goal.BALANCED).ledger
    assert ledger.rolls == costed.sequence.rolls
    assert ledger.waste_eur == costed.sequence.cost.waste_eur
    for line in ledger.lines:
        assert line.web_m == sum(
            piece.length_m for piece in costed.sequence.ledger if piece.line == line.line
        )


def test_an_orders_rolls_are_chosen_once_however_often_it_is_asked_about(queue: Queue) -> None:
    question, order = few_jobs(queue), RunOrder(lines=(), left_out=tuple(job.job for job in queue.jobs[:4]))
    chosen = question.rolled(order, Goal.BALANCED)
    assert question.rolled(order, Goal.BALANCED) is chosen
    assert question.rolled(order, Goal.LEAST_WASTE) is not chosen


def test_the_papers_of_a_plan_have_the_rolls_that_its_search_found(queue: Queue) -> None:
    question = few_jobs(queue)
    plan = planning.plan(question, Goal.BALANCED, work=20)
    assert plan.sequence.rolls
    assert not plan.sequence.left_out
    again = floor.papers_of_plan(few_jobs(queue), plan)
    assert floor.papers_of_plan(question, plan).ledger == again.ledger


def few_jobs(queue: Queue) -> Question:
    """All of them run."""
    return Question(queue.plant, queue.jobs[:4], START)


def test_stock_without_rolls_is_told_without_them(queue: Queue, order: RunOrder) -> None:
    plain = read_queue(DAY / "plant.json", DAY / "jobs.csv")
    costed = planning.cost(Question(plain.plant, plain.jobs, START), order, Goal.BALANCED)
    assert costed.sequence.rolls is None
    assert costed.sequence.cost.stubs is None
    assert "Rolls of line" not in report_html(costed)


def test_the_ledger_command_prints_and_writes_every_metre(costed: CostedPlan, tmp_path: Path) -> None:
    sequence, _ = write_sequence(costed.sequence, tmp_path)
    result = run("ledger", *FILES, *STOCK, "--sequence", str(sequence), "--out", str(tmp_path))
    page = words(result.stdout)
    assert result.exit_code == 0
    assert "Sample site, three lines: web ledger from Tue 2 Mar 2027 06:00" in page
    for roll in costed.sequence.rolls or ():
        assert roll.roll in page
    told = json.loads((tmp_path / "ledger.json").read_text(encoding="utf-8"))
    with (tmp_path / "ledger.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    metres = sum(Decimal(row["length_m"]) for row in rows if row["line"])
    assert metres == sum(Decimal(str(line["web_m"])) for line in told["lines"])


def test_what_rolls_do_not_suffice_for_is_told_on_every_page(costed: CostedPlan) -> None:
    short = MissingStock(
        line="B1",
        substrate="PP-W60",
        width_mm=Decimal(330),
        missing_m=Decimal("412.5"),
        job="J-3142",
        run=3,
        needed=costed.sequence.start,
        proven=True,
    )
    lacking = costed.model_copy(update={"sequence": costed.sequence.model_copy(update={"missing": (short,)})})
    told = (
        "Rolls do not suffice on B1: 412.5 m of PP-W60 330 mm are missing for J-3142 from Tue 2 Mar 06:00 on."
    )
    assert told in " ".join(str(part) for part in plan_page(lacking))
    assert told in report_html(lacking)
    assert "Stock that is missing" not in report_html(costed)
