"""Alternatives as people see them: what each trades, the table, the files, the option that asks for them."""

from __future__ import annotations

import io
import json
import re
from datetime import datetime
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from rich.console import Console

from app.contracts.comparisons import Comparison
from app.contracts.sequences import CostedPlan, Goal
from app.documents.comparison import NO_ALTERNATIVE, comparison
from app.documents.console import plan_page
from app.documents.figures import cents, tenths
from app.documents.report import report_html
from app.documents.sequence_files import write_plan
from app.intake.queue import read_queue, read_queue_and_order
from app.services import planning
from app.translation.alternatives import Trade
from app.translation.solving import Question
from solver.trade_offs import Objectives
from tests.app.pages import Page
from tests.app.queues import SAMPLE, Files

QUEUE = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
START = datetime(2027, 3, 1, 8)
QUESTION = Question(QUEUE.plant, QUEUE.jobs, START)
"""Two hours later than the sample's own, so that some jobs are late whatever the order."""
WORK = 400


@cache
def planned(alternatives: int = 3, goal: Goal = Goal.LEAST_WASTE) -> CostedPlan:
    return planning.plan(QUESTION, goal, work=WORK, alternatives=alternatives)


def at(waste_m: float, stopped_min: float, late_eur: float) -> Objectives:
    return Objectives(round(waste_m * 1_000_000), round(stopped_min * 60_000), Fraction(late_eur))


def screen(costed_plan: CostedPlan) -> list[str]:
    stream = io.StringIO()
    for part in plan_page(costed_plan):
        Console(file=stream, width=250).print(part)
    return [" ".join(line.replace("│", " ").split()) for line in stream.getvalue().splitlines()]


@pytest.mark.parametrize(
    ("other", "late_jobs", "more_eur", "told"),
    [
        (at(880, 518, 40), 2, 74, "Saves 120 m of web for 18 more minutes and 40 € more late cost "
         "(2 more late jobs); 74 € dearer in all."),
        (at(880, 489, 0), 0, -20.4, "Saves 120 m of web and 11 minutes; 20 € cheaper in all."),
        (at(1012, 480, 0), 0, 0.2, "Saves 20 minutes for 12 more metres of web; the same cost in all."),
        (at(1003, 470, 0.5), 0, 1500, "Saves 30 minutes for 3.0 more metres of web and 0.5 € more late cost; "
         "1,500 € dearer in all."),
        (at(900, 470, 0), 0, 35, "Saves 100 m of web and 30 minutes; "
         "35 € dearer in all, by running time, line rates or stock prices."),
    ],
)  # fmt: skip
def test_a_sentence_tells_what_is_saved_and_what_it_takes(
    other: Objectives, late_jobs: int, more_eur: float, told: str
) -> None:
    assert Trade(at(1000, 500, 0), other, late_jobs, Fraction(more_eur)).text == told


def test_fewer_late_jobs_are_told() -> None:
    trade = Trade(at(1000, 500, 90), at(1030, 530, 10), -1, Fraction(12))
    assert trade.text == (
        "Saves 80 € of late cost for 30 more metres of web and 30 more minutes (1 fewer late job); "
        "12 € dearer in all."
    )


def test_a_plan_has_alternatives_with_all_that_a_sequence_has() -> None:
    costed_plan = planned()
    assert [one.name for one in costed_plan.alternatives] == [
        f"alternative {number}" for number in range(1, len(costed_plan.alternatives) + 1)
    ]
    assert len(costed_plan.alternatives) >= 2
    for alternative in costed_plan.alternatives:
        assert alternative.sequence.totals.jobs == costed_plan.sequence.totals.jobs
        assert alternative.sequence.ledger
        assert alternative.sequence.goal is costed_plan.sequence.goal
        assert alternative.trade.startswith("Saves ")


def test_sentences_tell_the_figures_of_the_table() -> None:
    costed_plan = planned()
    recommended, *others = comparison(costed_plan).orders
    for order, alternative in zip(others, costed_plan.alternatives, strict=False):
        more_eur = order.total_eur - recommended.total_eur
        told = re.search(r"; (?:([\d,]+) € (dearer|cheaper)|the same cost) in all", alternative.trade)
        assert told is not None
        if told.group(2) is not None:
            assert told.group(2) == ("dearer" if more_eur > 0 else "cheaper")
        told_eur = float((told.group(1) or "0").replace(",", ""))
        assert abs(told_eur - abs(float(more_eur))) <= 0.5
        saved_min = re.search(r"Saves .*?(\d+) minutes", alternative.trade.partition(" for ")[0])
        if saved_min:
            assert abs(float(saved_min.group(1)) - float(recommended.stopped_min - order.stopped_min)) <= 0.5


def test_without_being_asked_for_there_are_none() -> None:
    costed_plan = planned(0)
    assert costed_plan.alternatives == ()
    assert NO_ALTERNATIVE not in screen(costed_plan)
    assert "Alternatives" not in Page(report_html(costed_plan)).texts("h2")


def test_the_screen_shows_all_orders_side_by_side_and_a_sentence_each() -> None:
    costed_plan = planned()
    lines = screen(costed_plan)
    for order in comparison(costed_plan).orders:
        row = (
            f"{order.name} {tenths(order.waste_m)} {tenths(order.stopped_min)} {cents(order.late_eur)} "
            f"{order.late_jobs} {cents(order.controllable_eur)} {cents(order.total_eur)}"
        )
        assert row in lines
    for alternative in costed_plan.alternatives:
        assert f"{alternative.name.capitalize()}: {alternative.trade}" in lines


def test_the_report_shows_the_same() -> None:
    costed_plan = planned()
    page = Page(report_html(costed_plan))
    assert "Alternatives" in page.texts("h2")
    for order in comparison(costed_plan).orders:
        assert any(
            text.startswith(f"{order.name} {tenths(order.waste_m)} {tenths(order.stopped_min)} ")
            for text in page.texts("tr")
        )
    for alternative in costed_plan.alternatives:
        assert f"{alternative.name.capitalize()}: {alternative.trade}" in page.texts("li")


def test_that_none_is_worth_a_choice_is_said() -> None:
    nothing = planned().model_copy(update={"alternatives": ()})
    assert NO_ALTERNATIVE in screen(nothing)
    assert NO_ALTERNATIVE in Page(report_html(nothing)).texts("p")


def test_set_up_and_stopped_minutes_are_all_but_running() -> None:
    for order, totals in zip(
        comparison(planned()).orders,
        (planned().sequence.totals, *(one.sequence.totals for one in planned().alternatives)),
        strict=False,
    ):
        minutes = sum(
            getattr(totals, f"{kind}_min")
            for kind in ("changeover", "waiting", "roll_end", "interruption", "clean_down")
        )
        assert order.stopped_min == minutes


def test_every_alternative_is_written_and_costs_the_same_when_it_is_read_again(tmp_path: Path) -> None:
    costed_plan = planned()
    written = write_plan(costed_plan, tmp_path)
    assert all(path.exists() for path in written)
    compared = Comparison.model_validate_json((tmp_path / "alternatives.json").read_text(encoding="utf-8"))
    assert compared == comparison(costed_plan)
    files = [order.file for order in compared.orders if order.file]
    sequences = [costed_plan.sequence, *(one.sequence for one in costed_plan.alternatives)]
    for name, sequence in zip(files, sequences, strict=True):
        for path in (tmp_path / name, (tmp_path / name).with_suffix(".csv")):
            _, order = read_queue_and_order(SAMPLE / "plant.json", SAMPLE / "jobs.csv", path)
            again = planning.cost(QUESTION, order, Goal.LEAST_WASTE)
            assert again.sequence == sequence


def test_alternatives_of_an_older_plan_do_not_stay_beside_a_new_one(tmp_path: Path) -> None:
    write_plan(planned(), tmp_path)
    (tmp_path / "alternative-notes.txt").write_text("mine", encoding="utf-8")
    write_plan(planned(0), tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {
        "sequence.json",
        "sequence.csv",
        "alternative-notes.txt",
    }


def test_more_than_eight_are_refused_by_the_service() -> None:
    with pytest.raises(ValueError, match="alternatives must be 0 to 8"):
        planning.plan(QUESTION, Goal.BALANCED, work=10, alternatives=9)


@pytest.mark.parametrize("asked", ["-1", "9", "two"])
def test_the_command_line_refuses_other_numbers(files: Files, asked: str) -> None:
    result = files.run("plan", "--work", "60", "--alternatives", asked)
    assert result.exit_code == 2
    assert "--alternatives" in result.stderr


def test_the_command_line_shows_and_writes_as_many_as_asked_for(files: Files) -> None:
    start = ("--start", "2027-03-01T08:00", "--goal", "least-waste", "--work", str(WORK))
    for asked in (2, 0):
        out = files.folder / f"out-{asked}"
        result = files.run("plan", *start, "--alternatives", str(asked), "--out", str(out))
        assert result.exit_code == 0
        names = {path.name for path in out.iterdir()}
        assert sum(name.startswith("alternative-") for name in names) == 2 * asked
        assert ("Alternative 1: Saves " in result.stdout) == bool(asked)
        if asked:
            orders = json.loads((out / "alternatives.json").read_text(encoding="utf-8"))["orders"]
            assert [order["name"] for order in orders][: asked + 1] == [
                "recommended",
                "alternative 1",
                "alternative 2",
            ]


def test_the_command_line_asks_for_three_where_nothing_is_said(files: Files) -> None:
    start = ("--start", "2027-03-01T08:00", "--goal", "least-waste", "--work", str(WORK))
    out = files.folder / "out"
    assert files.run("plan", *start, "--out", str(out)).exit_code == 0
    assert len(list(out.glob("alternative-*.json"))) == len(planned(3).alternatives)
