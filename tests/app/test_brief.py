"""A costed sequence in brief is the account's, number by number."""

from __future__ import annotations

import json
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.contracts import sequences as contracts
from app.contracts.costings import BriefTotals, CostedOrder
from app.contracts.sequences import Goal
from app.translation.brief import brief_sequence, brief_totals
from app.translation.sequences import Costed, sequence_contract
from app.translation.times import PlanClock
from solver.account import account
from solver.baselines import as_entered
from solver.cheapest_rolls import RolledSequence, cheapest_rolls
from solver.problem import Problem
from solver.roll_plan import RollPlan
from solver.sequence import Order
from solver.weights import GOALS
from tests.builders.days import DayShape, drawn_day, drawn_lots
from tests.builders.drawn_locks import under_drawn_locks
from tests.builders.drawn_rolls import rolled_day
from tests.builders.in_force import while_drawn_in_force
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
CLOCK = PlanClock.at(datetime(2027, 3, 27, 5, 59, 59), ZoneInfo("Europe/Berlin"))
"""The clock is put forward in the following night."""
SAME = (
    *("job", "lot", "stations", "substrate", "width_mm", "changeover_start", "print_start", "end"),
    *("press_due", "late_min", "late_eur", "wait_min", "run_min", "roll_end_min", "roll_ends", "web_m"),
    *("waste_m", "moved", "changeover", "roll_end", "interruptions"),
)
"""What a run in brief, with detail, has as a run has it."""


def costed(problem: Problem, order: Order, goal: Goal) -> Costed:
    plan = RollPlan(account(problem, order, GOALS[goal]), (), settled=True)
    return Costed(RolledSequence(problem, plan), CLOCK, "Example", goal, GOALS[goal])


def assert_same_numbers(brief: CostedOrder, full: contracts.Sequence) -> None:
    """JSON has what it shows of the other as that has it, and its sums are of what is shown there."""
    told, known = brief.model_dump(mode="json"), full.model_dump(mode="json")
    for key in ("site", "zone", "start", "goal", "cost", "left_out", "broken_locks"):
        assert told[key] == known[key]
    totals = {key: known["totals"][key] for key in BriefTotals.model_fields}
    assert told["totals"] == totals
    runs = [
        (line["line"], place, run) for line in known["lines"] for place, run in enumerate(line["runs"], 1)
    ]
    assert len(told["runs"]) == len(runs)
    for short, (line, position, run) in zip(told["runs"], runs, strict=True):
        assert (short["line"], short["position"]) == (line, position)
        assert {key: short[key] for key in SAME} == {key: run[key] for key in SAME}
        changeover = run["changeover"] or {"minutes": 0, "stops": [], "joined": False}
        assert (short["changeover_min"], short["joined"]) == (changeover["minutes"], changeover["joined"])
        assert short["stops"] == len(changeover["stops"]) + len(run["interruptions"]) + (
            run["roll_ends"] * len(run["roll_end"]["stops"]) if run["roll_end"] else 0
        )
        stopped = [interruption.minutes for interruption in full_run(full, line, position).interruptions]
        assert short["interruption_min"] == float(sum(stopped))
    for short, line in zip(told["lines"], known["lines"], strict=True):
        for key in ("line", "waiting_min", "clean_down_min", "minute_is_worth_m"):
            assert short[key] == line[key]
        assert short["runs"] == len(line["runs"])
        assert short["end"] == (line["runs"][-1]["end"] if line["runs"] else None)


def full_run(full: contracts.Sequence, line: str, position: int) -> contracts.Run:
    return next(each for each in full.lines if each.line == line).runs[position - 1]


def read(told: str) -> CostedOrder:
    """As somebody reads it who has sent for it."""
    return CostedOrder.model_validate_json(told)


@examples(50)
@given(SEEDS, st.integers(1, 3), st.sampled_from(Goal))
def test_drawn_days_with_lots_have_the_numbers_of_the_account(seed: int, lines: int, goal: Goal) -> None:
    problem = drawn_day(seed, DayShape(jobs=9, lines=lines, splits=True))
    whole = costed(problem, drawn_lots(problem, seed), goal)
    assert_same_numbers(read(brief_sequence(whole, detail=True)), sequence_contract(whole))


@examples(40)
@given(SEEDS, st.sampled_from(Goal))
def test_so_do_days_under_locks_while_a_sequence_is_in_force(seed: int, goal: Goal) -> None:
    day = under_drawn_locks(drawn_day(seed, DayShape(jobs=9, lines=2)), seed)
    problem = while_drawn_in_force(day, seed)
    whole = costed(problem, as_entered(problem), goal)
    brief = read(brief_sequence(whole, detail=True))
    assert_same_numbers(brief, sequence_contract(whole))
    assert brief.totals.moved_runs is not None


@pytest.mark.parametrize("seed", range(4))
def test_so_do_days_with_rolls_chosen(seed: int) -> None:
    plain, order = rolled_day(seed, 2)
    rolled = RolledSequence(*cheapest_rolls(plain, order, GOALS[Goal.BALANCED]))
    whole = Costed(rolled, CLOCK, "Example", Goal.BALANCED, GOALS[Goal.BALANCED])
    brief = read(brief_sequence(whole, detail=True))
    assert_same_numbers(brief, sequence_contract(whole))
    assert not brief.by_usual_rolls
    assert brief.cost.stubs is not None


def test_without_detail_nothing_else_is_told_otherwise() -> None:
    problem = drawn_day(4, DayShape(jobs=9, lines=2))
    whole = costed(problem, drawn_lots(problem, 4), Goal.BALANCED)
    plain, detailed = (json.loads(brief_sequence(whole, detail=detail)) for detail in (False, True))
    for run in detailed["runs"]:
        for key in ("changeover", "roll_end", "interruptions"):
            del run[key]
    assert plain == detailed
    assert brief_totals(whole) == {key: plain[key] for key in ("cost", "totals", "left_out", "broken_locks")}
    assert plain["by_usual_rolls"]


def test_an_order_without_runs_is_told_too() -> None:
    problem = drawn_day(4, DayShape(jobs=3, lines=2))
    brief = read(brief_sequence(costed(problem, ((), ()), Goal.BALANCED)))
    assert (brief.totals.jobs, brief.totals.left_out, brief.runs) == (0, 3, ())
    assert [line.end for line in brief.lines] == [None, None]
