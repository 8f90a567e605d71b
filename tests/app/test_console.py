"""What a costed plan says on a screen."""

from __future__ import annotations

import io
from datetime import datetime
from decimal import Decimal

import pytest
from rich.console import Console

from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.contracts.sequences import Goal, Search
from app.documents import figures
from app.documents.console import plan_page
from app.intake.queue import read_queue
from app.services import planning
from app.translation.solving import Question
from tests.app.queues import SAMPLE, put, sample_plant

QUEUE = read_queue(SAMPLE / "plant.json", SAMPLE / "jobs.csv")
START = datetime(2027, 3, 1, 6)
QUESTION = Question(QUEUE.plant, QUEUE.jobs, START)
RUNS = (
    OrderedRun(job="J-2101", stations=("inkjet", "flexo-3", "die")),
    OrderedRun(job="J-2103"),
    OrderedRun(job="J-2104"),
    OrderedRun(job="J-2102"),
)


def lines_of(goal: Goal = Goal.LEAST_WASTE, start: datetime = START, **changes: object) -> list[str]:
    """The page of the sample on the hybrid line, wide enough that every stop is on one line."""
    plant = sample_plant()
    for place, new in changes.items():
        put(plant, place.replace("__", "."), new)
    order = RunOrder(lines=(LineOrder(line="H1", runs=RUNS),))
    costed = planning.cost(Question(Plant.model_validate(plant), QUEUE.jobs, start), order, goal)
    stream = io.StringIO()
    console = Console(file=stream, width=250)
    for part in plan_page(costed):
        console.print(part)
    return [" ".join(line.replace("│", " ").split()) for line in stream.getvalue().splitlines()]


def test_every_changeover_is_told_stop_by_stop() -> None:
    lines = lines_of()
    assert "D-101 1. run out, at 28.5 m, 7.0 min: inkjet (channels, settings)" in lines
    assert "D-102 2. at 19 m, 6.0 min: flexo-2 (cylinder, plate)" in lines
    assert "3. at 24 m, 7.5 min: die (cylinder, die)" in lines
    assert "4. at 26 m, 3.5 min: slitter (slit layout)" in lines
    assert "while running: flexo-1 (cylinder, plate, anilox)" in lines


def test_a_run_is_told_with_its_stops_metres_minutes_and_times() -> None:
    assert "1 J-2101 PAPER-80 330 cold start: 8.0 m 1 19.5 18.6 Mon 1 Mar 06:18 Mon 1 Mar 06:33" in lines_of()
    spliced = "3 J-2104 PP-W60 330 1. at 0 m, 2.0 min: splice-table (roll)"
    assert f"{spliced} 4 7.5 20.3 Mon 1 Mar 07:23 Mon 1 Mar 07:34" in lines_of()


def test_a_station_that_comes_back_with_its_tooling_is_told() -> None:
    thrown_off = lines_of(lines__0__present__thrown_off=["flexo-2", "flexo-3"])
    assert "back with kept tooling: flexo-3" in thrown_off
    assert not any("back with kept tooling" in line for line in lines_of())


def test_roll_ends_and_closures_are_told() -> None:
    roll_ends = lines_of(substrates__0__usual_roll_m=400)
    assert any("then 2 × roll end inside the run: 2.0 m, 2.1 min each" in line for line in roll_ends)
    closed = [{"from": "2027-03-01T06:25", "to": "2027-03-01T07:00"}]
    assert any(
        "closure in the run from Mon 1 Mar 06:25: 0.0 m, 0.5 min" in line
        for line in lines_of(calendar__closures=closed)
    )


def test_late_minutes_and_lines_without_runs_are_told() -> None:
    lines = lines_of(start=datetime(2027, 3, 1, 8))
    assert any("Mon 1 Mar 09:03 93.4" in line for line in lines)
    assert "P1: no runs" in lines


def test_what_a_minute_is_worth_depends_on_the_goal() -> None:
    assert "Line H1: one minute is worth less than 0.01 m of waste here." in lines_of()
    assert "Line H1: one minute is worth 18.65 m of waste here." in lines_of(Goal.BALANCED)


@pytest.mark.parametrize(
    ("figure", "text"),
    [
        (figures.tenths(Decimal("1234.25")), "1,234.3"),
        (figures.tenths(Decimal("0.04")), "0.0"),
        (figures.cents(Decimal("1234.565")), "1,234.57"),
        (figures.percent(0.60562), "60.6%"),
        (figures.percent(None), "–"),
        (figures.worth(0.0099), "less than 0.01 m"),
        (figures.worth(15.1515), "15.15 m"),
        (figures.worth(15_000_000), "more than 10,000 m"),
    ],
)
def test_figures_are_rounded_half_up_with_separators(figure: str, text: str) -> None:
    assert figure == text


@pytest.mark.parametrize(
    ("bound_eur", "gap", "rolls", "said"),
    [
        (None, None, False, "no bound: how far it may be from the best possible is not known."),
        (Decimal(99), 0.0123, False, "at most 1.2% above the best possible."),
        (Decimal(100), 0.0, False, "proved: no order costs less."),
        (
            Decimal(99),
            0.0123,
            True,
            "by usual rolls, before its own were chosen, at most 1.2% above the best possible.",
        ),
    ],
)
def test_how_far_a_plan_may_be_from_the_best_is_said(
    bound_eur: Decimal | None, gap: float | None, rolls: bool, said: str
) -> None:
    order = RunOrder(lines=(LineOrder(line="H1", runs=RUNS),))
    costed = planning.cost(QUESTION, order, Goal.BALANCED)
    search = Search(status="found", work=7, seed=0, bound_eur=bound_eur, gap=gap, by_usual_rolls=rolls)
    stream = io.StringIO()
    for part in plan_page(costed.model_copy(update={"search": search})):
        Console(file=stream, width=250).print(part)
    assert f"7 orders tried, seed 0; {said}" in stream.getvalue()
