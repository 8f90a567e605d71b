"""Roll ends where rolls really end, in place of the usual ones."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.ledger import web_ledger
from solver.problem import Problem
from solver.sequence import ChosenRolls, PieceKind, RollEnds, Sequence
from solver.stub_cost import StubCost
from solver.weights import GOALS, Weights
from tests.builders.days import DayShape, drawn_day, drawn_order
from tests.builders.worked import M_UM, MIN_MS, worked_job, worked_line, worked_problem
from tests.checker.check import check_sequence
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))


def drawn_roll_ends(problem: Problem, sequence: Sequence, seed: int) -> RollEnds:
    """Up to three roll ends inside a run and two on the strip before it; some runs keep the usual ones."""
    drawing = random.Random(seed)
    chosen: dict[tuple[int, object], tuple[int, ...]] = {}
    for line_idx, line in enumerate(sequence.lines):
        for run in line.runs:
            if drawing.random() < 0.2:
                continue
            strip_um = run.changeover.strip_um - run.changeover.blank_um if run.changeover else 0
            on_strip = [-drawing.randint(0, strip_um) for _ in range(drawing.randint(0, 2))]
            inside = [drawing.randint(1, run.web_um) for _ in range(drawing.randint(0, 3))]
            chosen[line_idx, run.placement] = tuple(sorted((*on_strip, *inside)))
    return chosen  # type: ignore[return-value]


@examples(60)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES)
def test_the_checker_accepts_every_account_with_chosen_roll_ends(seed: int, lines: int, goal: str) -> None:
    problem = drawn_day(seed, DayShape(jobs=8, lines=lines))
    order = drawn_order(problem, seed)
    ends = drawn_roll_ends(problem, account(problem, order, GOALS[goal]), seed)
    problem = replace(problem, chosen_rolls=ChosenRolls(ends, StubCost()))
    sequence = account(problem, order, GOALS[goal])
    assert check_sequence(problem, sequence, GOALS[goal], web_ledger(problem, sequence)) == []


@examples(20)
@given(SEEDS)
def test_as_many_splices_lie_on_the_web_as_rolls_end(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=6, lines=2))
    order = drawn_order(problem, seed)
    ends = drawn_roll_ends(problem, account(problem, order, Weights()), seed)
    problem = replace(problem, chosen_rolls=ChosenRolls(ends, StubCost()))
    sequence = account(problem, order, Weights())
    spliced = [
        piece
        for pieces in web_ledger(problem, sequence)
        for piece in pieces
        if piece.kind is PieceKind.SPLICE and piece.cause == "roll end"
    ]
    assert len(spliced) == sum(len(run.roll_ends) for run in sequence.runs)


def test_on_the_strip_a_roll_end_costs_splice_and_stop_and_inside_the_run_registering_too() -> None:
    """The line H of the worked changeovers: stop 0.5 min, splice 1.5 min and 1 m, heads lifted for 5 m."""
    problem = worked_problem(worked_line("H"), worked_job("long run", "long", web_m=2500))
    order = as_entered(problem)
    placement = order[0][0]
    ends = {(0, placement): (0, 700 * M_UM)}
    chosen = replace(problem, chosen_rolls=ChosenRolls(ends, StubCost()))
    run = account(chosen, order, Weights()).runs[0]
    on_strip, inside = (end.changeover for end in run.roll_ends)
    assert (on_strip.waste_um, on_strip.duration_ms) == (1 * M_UM, 2 * MIN_MS)
    assert (inside.waste_um, inside.duration_ms) == (6 * M_UM, 2.25 * MIN_MS)
    assert run.roll_end_ms == 4.25 * MIN_MS
