"""Web before the first run and of a run that had started: no account has roll ends in it."""

from __future__ import annotations

from dataclasses import replace

from solver.baselines import as_entered
from solver.locks import Started
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.roll_ledger import RollPart, roll_ledger
from solver.roll_plan import RollPlan, with_rolls
from solver.rolls import Roll
from solver.weights import Weights
from tests.builders.worked import M_UM, MIN_MS, WEB_UM, worked_job, worked_line, worked_problem


def with_paper(problem: Problem, *rolls: Roll) -> Problem:
    paper, *others = problem.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(WEB_UM, rolls, 0),))
    return replace(problem, plant=replace(problem.plant, substrates=(paper, *others)))


def web_m(problem: Problem, plan: RollPlan) -> dict[str, int]:
    """Metres of web that every roll gave."""
    return {
        roll: sum(piece.length_um for piece in pieces if piece.part is RollPart.WEB) // M_UM
        for roll, pieces in roll_ledger(problem, plan).items()
    }


def test_rolls_end_in_a_started_run_without_wasting_web() -> None:
    started = Started("first", "H", -40 * MIN_MS, -15 * MIN_MS, 35 * MIN_MS)
    problem = worked_problem(worked_line("H"), worked_job("first", web_m=500), worked_job("next", web_m=80))
    rolls = (Roll(f"roll {number}", 300 * M_UM) for number in (1, 2))
    problem = with_paper(replace(problem, locks=(started,)), *rolls)
    with_ends, plan = with_rolls(problem, as_entered(problem), Weights())
    assert [run.roll_ends for run in plan.sequence.runs] == [(), ()]
    assert web_m(with_ends, plan) == {"roll 1": 300, "roll 2": 280}


def test_web_that_runs_out_before_the_first_run_is_of_any_roll() -> None:
    """What is threaded runs out blank, 28 m, and the roll on the unwind is another job's."""
    problem = worked_problem(worked_line("H"), worked_job("first", "substrate"))
    mounted = Roll("mounted", 200 * M_UM, on_unwind="H", reserved_for="another")
    problem = with_paper(problem, mounted, Roll("store", 100 * M_UM))
    with_ends, plan = with_rolls(problem, as_entered(problem), Weights())
    assert web_m(with_ends, plan) == {"store": 28}
