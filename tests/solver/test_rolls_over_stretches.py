"""Rolls where stretches meet the rest of the model: roll ends that waste nothing, what has started, stubs
that are taken up again, rolls that go out of date, reels with spoiled web in them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

import pytest

from solver.baselines import as_entered
from solver.jobs import Job
from solver.locks import Started
from solver.plant import Line, StockedWidth
from solver.problem import Problem
from solver.roll_candidates import Candidate
from solver.roll_choice import CostKind, RollChoice
from solver.roll_ledger import roll_ledger
from solver.roll_plan import RollPlan, with_rolls
from solver.rolls import Roll, StockRules
from solver.stock import choose_rolls
from solver.stretches import Segment, SegmentKind, Stretch
from solver.weights import Weights
from tests.builders.worked import M_UM, MIN_MS, WEB_UM, worked_job, worked_line, worked_problem

RULES = StockRules(least_stub_um=50 * M_UM, open_eur=Fraction(2))


def paper_day(rolls: Iterable[Roll], *jobs: Job, line: Line | None = None) -> Problem:
    problem = worked_problem(line or worked_line("H"), *jobs)
    paper, *others = problem.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(WEB_UM, tuple(rolls), 0),))
    return replace(problem, plant=replace(problem.plant, substrates=(paper, *others), stock_rules=RULES))


def rolled(problem: Problem) -> tuple[Problem, RollPlan]:
    problem, plan = with_rolls(problem, as_entered(problem), Weights())
    assert plan.settled
    assert not plan.shortages
    return problem, plan


def choices(plan: RollPlan) -> list[RollChoice]:
    return [each.choice for each in plan.stretches if isinstance(each.choice, RollChoice)]


def all_metres_told(problem: Problem, plan: RollPlan) -> bool:
    lengths_um = {roll.id: roll.length_um for _, _, roll in problem.plant.rolls}
    ledger = roll_ledger(problem, plan)
    return all(sum(piece.length_um for piece in own) == lengths_um[roll] for roll, own in ledger.items())


def test_a_roll_end_that_wastes_no_web_still_takes_its_minutes() -> None:
    line = worked_line("H")
    stations = tuple(replace(station, lift_um=0) for station in line.stations)
    rolls = [Roll(name, 600 * M_UM) for name in ("one", "two")]
    problem = paper_day(
        rolls, worked_job("long", web_m=1000), line=replace(line, stations=stations, splice_um=0)
    )
    _, plan = rolled(problem)
    (run,) = plan.sequence.runs
    assert [choice.roll_ends for choice in choices(plan)] == [1]
    assert [end.changeover.waste_um for end in run.roll_ends] == [0]
    assert run.roll_end_ms == 2 * MIN_MS


def test_what_a_line_holds_before_its_first_run_ends_on_another_roll_without_waste_that_the_web_has_not() -> (
    None
):
    """The roll on the unwind is kept for another job, so another one gives the web left blank behind it."""
    rolls = [Roll("kept", 900 * M_UM, on_unwind="H", reserved_for="another"), Roll("other", 900 * M_UM)]
    problem, plan = rolled(paper_day(rolls, worked_job("film", "substrate", "inkjet")))
    assert [use.roll for choice in choices(plan) for use in choice.uses] == ["other"]
    assert all_metres_told(problem, plan)


def test_a_run_that_has_started_has_no_roll_end_that_the_account_does_not_know() -> None:
    rolls = [Roll("on the unwind", 300 * M_UM, on_unwind="H"), Roll("other", 900 * M_UM)]
    problem = paper_day(rolls, worked_job("running", web_m=500), worked_job("next", "die", web_m=100))
    running = Started("running", "H", -5 * MIN_MS, 0, 10 * MIN_MS)
    problem, plan = rolled(replace(problem, locks=(running,)))
    assert [use.roll for choice in choices(plan) for use in choice.uses] == ["on the unwind", "other"]
    assert plan.sequence.runs[0].roll_ends == ()
    assert all_metres_told(problem, plan)


def test_a_stub_that_is_taken_up_again_is_not_opened_again() -> None:
    problem = paper_day(
        [Roll("only", 900 * M_UM)],
        worked_job("first", web_m=300),
        worked_job("film", "substrate", "inkjet"),
        worked_job("again", web_m=300),
    )
    _, plan = rolled(problem)
    opened = [sum(cost.kind is CostKind.OPENING for cost in choice.costs) for choice in choices(plan)]
    assert opened == [1, 0]


@pytest.mark.parametrize(("lasts_min", "taken"), [(13, "old"), (9, "fresh")])
def test_a_roll_is_taken_only_if_it_lasts_until_its_stretch_ends(lasts_min: int, taken: str) -> None:
    rolls = [
        Roll("fresh", 900 * M_UM, received_ms=-1),
        Roll("old", 800 * M_UM, received_ms=-900 * MIN_MS, best_before_ms=lasts_min * MIN_MS),
    ]
    problem = paper_day(rolls, worked_job("ten minutes", web_m=500))
    aged = replace(problem.plant.stock_rules, age_eur_per_day=Fraction(1))
    _, plan = rolled(replace(problem, plant=replace(problem.plant, stock_rules=aged)))
    assert 9 * MIN_MS < plan.sequence.runs[0].end_ms < 13 * MIN_MS
    assert [use.roll for choice in choices(plan) for use in choice.uses] == [taken]


def test_a_roll_on_the_unwind_that_is_out_of_date_makes_way_with_a_splice() -> None:
    rolls = [Roll("out of date", 900 * M_UM, on_unwind="H", best_before_ms=0), Roll("other", 900 * M_UM)]
    _, plan = rolled(paper_day(rolls, worked_job("any", web_m=300)))
    assert [choice.roll_ends for choice in choices(plan)] == [1]
    assert len(plan.sequence.runs[0].roll_ends) == 1


def test_a_reel_does_not_count_web_that_is_spoiled_inside_its_version() -> None:
    """A customer's reel takes 200 m and no splice; 3 m are spoiled 100 m behind the version's beginning."""
    version = Segment(
        SegmentKind.PRINT,
        703 * M_UM,
        1,
        "job",
        0,
        0,
        Fraction(0),
        "only",
        reel_um=200 * M_UM,
        most_splices_a_reel=0,
        spoiled=((100 * M_UM, 103 * M_UM),),
    )
    assert version.reel_ends_um == (203 * M_UM, 403 * M_UM, 603 * M_UM)
    rolls = [Candidate.whole(name, 450 * M_UM, Fraction(1, 5 * M_UM)) for name in ("one", "two")]
    found = choose_rolls(Stretch((version,)), rolls, StockRules())
    assert isinstance(found, RollChoice)
    assert found.uses[1].begins.offset_um in version.reel_ends_um
