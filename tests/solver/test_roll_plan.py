"""Rolls for whole sequences: every metre of every roll in one place, and the account with their ends."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.ledger import web_ledger
from solver.plant import PresentState, StockedWidth
from solver.problem import Problem
from solver.roll_choice import RestKind, RollChoice
from solver.roll_ledger import roll_ledger, unopened
from solver.roll_plan import RollPlan, with_rolls
from solver.rolls import Roll
from solver.sequence import PieceKind
from solver.weights import GOALS, Weights
from tests.builders.drawn_rolls import rolled_day
from tests.builders.worked import M_UM, worked_job, worked_line, worked_problem
from tests.checker.check import check_sequence
from tests.examples import examples, first

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))


def rolls_of(problem: Problem) -> dict[str, Roll]:
    return {roll.id: roll for _, _, roll in problem.plant.rolls}


def without_roll_um(plan: RollPlan) -> int:
    """What lines hold before their first runs, of rolls that nobody has told: all the rest is of rolls."""
    without = [each.stretch for each in plan.stretches if each.choice is None]
    assert all(stretch.is_threaded_before for stretch in without)
    return sum(stretch.stretch.length_um for stretch in without)


def choices_of(plan: RollPlan) -> list[RollChoice]:
    return [each.choice for each in plan.stretches if isinstance(each.choice, RollChoice)]


@examples(30)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES)
def test_the_checker_accepts_a_sequence_with_its_rolls(seed: int, lines: int, goal: str) -> None:
    problem, order = rolled_day(seed, lines)
    with_ends, plan = with_rolls(problem, order, GOALS[goal])
    sequence = plan.sequence
    assert check_sequence(with_ends, sequence, GOALS[goal], web_ledger(with_ends, sequence)) == []


@examples(30)
@given(SEEDS, st.integers(1, 3))
def test_no_metre_of_a_roll_is_used_twice(seed: int, lines: int) -> None:
    problem, order = rolled_day(seed, lines)
    _, plan = with_rolls(problem, order, Weights())
    used: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for choice in choices_of(plan):
        for use in choice.uses:
            used[use.roll].append((use.from_um, use.to_um))
        for cut_out in choice.cut_outs:
            used[cut_out.roll].append((cut_out.from_um, cut_out.to_um))
        for rest in choice.rests:
            if rest.kind is not RestKind.STUB:
                used[rest.roll].append((rest.from_um, rest.to_um))
    rolls = rolls_of(problem)
    for name, pieces in used.items():
        for (_, end_um), (start_um, _) in pairwise(sorted(pieces)):
            assert end_um <= start_um
        assert min(pieces)[0] >= 0
        assert max(pieces)[1] <= rolls[name].length_um


@examples(30)
@given(SEEDS, st.integers(1, 3))
def test_every_metre_of_web_is_a_metre_of_a_roll(seed: int, lines: int) -> None:
    problem, order = rolled_day(seed, lines)
    with_ends, plan = with_rolls(problem, order, Weights())
    if not plan.settled or plan.shortages:
        return
    web_um = sum(piece.length_um for pieces in web_ledger(with_ends, plan.sequence) for piece in pieces)
    rolled_um = sum(use.to_um - use.from_um for choice in choices_of(plan) for use in choice.uses)
    assert web_um == rolled_um + without_roll_um(plan)


@examples(20)
@given(SEEDS)
def test_there_is_a_splice_for_every_roll_end(seed: int) -> None:
    problem, order = rolled_day(seed, 2)
    with_ends, plan = with_rolls(problem, order, Weights())
    if not plan.settled:
        return
    spliced = sum(
        piece.kind is PieceKind.SPLICE and piece.cause == "roll end"
        for pieces in web_ledger(with_ends, plan.sequence)
        for piece in pieces
    )
    assert spliced == sum(choice.roll_ends for choice in choices_of(plan))


@examples(30)
@given(SEEDS, st.integers(1, 3))
def test_the_pieces_of_a_roll_are_as_long_as_the_roll(seed: int, lines: int) -> None:
    problem, order = rolled_day(seed, lines)
    with_ends, plan = with_rolls(problem, order, Weights())
    if not plan.settled:
        return
    rolls = rolls_of(problem)
    ledger = roll_ledger(with_ends, plan)
    for name, pieces in ledger.items():
        assert sum(piece.length_um for piece in pieces) == rolls[name].length_um
        assert [piece.from_um for piece in pieces] == [0, *(piece.to_um for piece in pieces[:-1])]
    ran = {piece.web for pieces in ledger.values() for piece in pieces if piece.web is not None}
    web = {piece for pieces in web_ledger(with_ends, plan.sequence) for piece in pieces}
    web_um = sum(piece.length_um for piece in web)
    lacking_um = sum(stretch.stretch.length_um for stretch, _ in plan.shortages)
    assert sum(piece.length_um for piece in ran) == web_um - without_roll_um(plan) - lacking_um
    assert {roll.id for roll in unopened(problem, plan)} == set(rolls) - set(ledger)


def test_most_days_settle() -> None:
    seeds = first(range(20))
    settled = sum(with_rolls(*rolled_day(seed, 2), Weights())[1].settled for seed in seeds)
    assert 10 * settled >= 9 * len(seeds)


def test_a_roll_on_the_unwind_is_there_for_the_first_stretch_alone() -> None:
    """The first stretch is of film, whose rolls nobody follows: by the second the roll has been taken off, so
    the one that is taken needs no splice to it.
    """
    line = replace(worked_line("H"), present=PresentState())
    problem = worked_problem(line, worked_job("film", "substrate", "inkjet"), worked_job("plain"))
    rolls = (
        Roll("on the unwind", 900 * M_UM, on_unwind="H", reserved_for="another"),
        Roll("store", 900 * M_UM),
    )
    paper, *others = problem.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(paper.widths[0].width_um, rolls, 0),))
    problem = replace(problem, plant=replace(problem.plant, substrates=(paper, *others)))
    _, plan = with_rolls(problem, as_entered(problem), Weights())
    assert [run.stock.substrate for run in plan.sequence.runs] == ["film", "paper"]
    assert [use.roll for choice in choices_of(plan) for use in choice.uses] == ["store"]
    assert plan.sequence.runs[1].roll_ends == ()


def test_a_roll_that_ran_to_its_very_end_is_gone() -> None:
    """No core tail, and exactly what the first stretch takes: nothing is left of it, not even a rest."""
    line = replace(worked_line("H"), present=PresentState())
    jobs = [worked_job(name, web_m=200) for name in ("first", "again")]
    film = worked_job("film", "substrate", "inkjet", web_m=50)
    problem = worked_problem(line, jobs[0], film, jobs[1])
    first = next(iter(account(problem, as_entered(problem), Weights()).runs))
    assert first.changeover is not None
    first_um = 200 * M_UM + first.changeover.waste_um
    rolls = (Roll("exact", first_um), Roll("out of date by then", 900 * M_UM, best_before_ms=60_000))
    paper, *others = problem.plant.substrates
    paper = replace(paper, widths=(StockedWidth.by_roll(paper.widths[0].width_um, rolls, 0),))
    problem = replace(problem, plant=replace(problem.plant, substrates=(paper, *others)))
    _, plan = with_rolls(problem, as_entered(problem), Weights())
    (choice,) = choices_of(plan)
    assert [(use.roll, use.to_um) for use in choice.uses] == [("exact", first_um)]
    assert choice.rests == ()
    assert [stretch.first_ms > 0 for stretch, _ in plan.shortages] == [True]


@pytest.mark.parametrize(("on_unwind", "taken"), [(None, []), ("H", ["paper roll"])])
def test_what_a_line_holds_is_of_a_roll_only_where_one_is_told_to_be_on_its_unwind(
    on_unwind: str | None, taken: list[str]
) -> None:
    """It once came from any roll of the store, or from the unwind of another line."""
    problem = worked_problem(worked_line("H"), worked_job("film", "substrate"))
    paper, *others = problem.plant.substrates
    rolls = (Roll("paper roll", 500 * M_UM, on_unwind=on_unwind),)
    paper = replace(paper, widths=(StockedWidth.by_roll(paper.widths[0].width_um, rolls, 0),))
    problem = replace(problem, plant=replace(problem.plant, substrates=(paper, *others)))
    with_ends, plan = with_rolls(problem, as_entered(problem), Weights())
    held = [piece for piece in web_ledger(with_ends, plan.sequence)[0] if piece.run == 0]
    assert [piece.stock.substrate for piece in held] == ["paper"]
    assert [use.roll for choice in choices_of(plan) for use in choice.uses] == taken
