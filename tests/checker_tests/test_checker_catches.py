"""A right account of a busy day passes, and every altered value in it is caught."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from solver.account import account
from solver.ledger import web_ledger
from solver.sequence import LeftOut, Mode, Sequence
from solver.weights import GOALS, Weights
from tests.checker import check_sequence
from tests.checker.replay import replay
from tests.checker.web import ledger_complaints
from tests.checker_tests.alterations import alterations, shuffled
from tests.checker_tests.busy_day import ORDER, PROBLEM
from tests.examples import first

SEQUENCE = account(PROBLEM, ORDER, Weights())
LEDGER = web_ledger(PROBLEM, SEQUENCE)
RUNS = {run.job: run for run in SEQUENCE.runs}

SAID_FREELY = {
    "AspectChange.before",
    "AspectChange.after",
}
"""What the model leaves to the teller in some places; caught where it does not."""


def complaints(sequence: Sequence) -> list[str]:
    return check_sequence(PROBLEM, sequence, Weights(), LEDGER)


def caught_by_name(altered: Iterable[tuple[str, Any]]) -> Counter[tuple[str, bool]]:
    return Counter((name, bool(complaints(sequence))) for name, sequence in altered)


def test_the_busy_day_holds_everything_that_can_go_wrong() -> None:
    changeovers = [run.changeover for run in SEQUENCE.runs if run.changeover]
    assert {changeover.mode for changeover in changeovers} == set(Mode)
    assert any(changeover.cold for changeover in changeovers)
    assert any(changeover.hidden for changeover in changeovers)
    assert any(changeover.reengaged for changeover in changeovers)
    assert any(changeover.splice_at_um for changeover in changeovers)
    assert any(changeover.spoil_before for changeover in changeovers)
    assert any(changeover.spoil_after for changeover in changeovers)
    assert any(changeover.clean_down_ms for changeover in changeovers)
    assert any(run.roll_ends for run in SEQUENCE.runs)
    assert any(run.foil_reel_ends for run in SEQUENCE.runs)
    assert any(run.interruptions for run in SEQUENCE.runs)
    assert any(run.lateness_ms for run in SEQUENCE.runs)
    assert any(run.wait_ms for run in SEQUENCE.runs)
    assert any(line.waiting_ms for line in SEQUENCE.lines)
    assert any(line.clean_down_ms for line in SEQUENCE.lines)
    assert [left_out.job for left_out in SEQUENCE.left_out] == ["posters"]
    assert SEQUENCE.broken_locks == ()


@pytest.mark.parametrize("goal", sorted(GOALS))
def test_the_busy_day_is_right_under_every_goal(goal: str) -> None:
    sequence = account(PROBLEM, ORDER, GOALS[goal])
    assert check_sequence(PROBLEM, sequence, GOALS[goal], web_ledger(PROBLEM, sequence)) == []


@pytest.mark.parametrize("job", sorted(RUNS))
def test_no_value_of_a_run_may_be_another(job: str) -> None:
    altered = []
    for name, path, sequence in alterations(SEQUENCE):
        line_idx, place = _place(job)
        if path.startswith(f".lines[{line_idx}].runs[{place}]."):
            altered.append((name, sequence))
    some = first(shuffled(altered))
    uncaught = {name for (name, caught), _ in caught_by_name(some).items() if not caught}
    assert len(altered) > 30
    assert uncaught <= SAID_FREELY


def test_no_value_of_a_line_a_cost_or_a_reason_may_be_another() -> None:
    altered = [(name, sequence) for name, path, sequence in alterations(SEQUENCE) if ".runs[" not in path]
    uncaught = {name for (name, caught), _ in caught_by_name(altered).items() if not caught}
    assert len(altered) > 10
    assert uncaught == set()


def test_what_is_said_freely_in_some_places_is_caught_in_others() -> None:
    altered = [(name, sequence) for name, _, sequence in alterations(SEQUENCE) if name in SAID_FREELY]
    assert {name for (name, caught), _ in caught_by_name(altered).items() if caught} == SAID_FREELY


def test_no_value_of_the_ledger_may_be_another() -> None:
    play = replay(PROBLEM, SEQUENCE, Weights())
    for line_idx, pieces in enumerate(LEDGER):
        for place, piece in enumerate(pieces):
            for name, path, other in alterations(piece):
                altered = (*pieces[:place], other, *pieces[place + 1 :])
                ledger = (*LEDGER[:line_idx], altered, *LEDGER[line_idx + 1 :])
                assert ledger_complaints(play, ledger), (name, path, piece)


def test_two_runs_that_change_places_are_caught() -> None:
    one, two = SEQUENCE.lines
    swapped = replace(one, runs=(one.runs[1], one.runs[0], *one.runs[2:]))
    assert complaints(replace(SEQUENCE, lines=(swapped, two)))


def test_a_dropped_job_is_caught_even_when_it_is_said_to_be_left_out() -> None:
    one, two = SEQUENCE.lines
    shorter = replace(one, runs=one.runs[:-1])
    left_out = (*SEQUENCE.left_out, LeftOut(one.runs[-1].job, ("nobody wants it",)))
    assert complaints(replace(SEQUENCE, lines=(shorter, two)))
    assert complaints(replace(SEQUENCE, lines=(shorter, two), left_out=left_out))


def test_a_job_that_no_line_can_run_needs_the_reason_of_every_line() -> None:
    (posters,) = SEQUENCE.left_out
    one_reason = replace(posters, reasons=posters.reasons[:1])
    assert complaints(replace(SEQUENCE, left_out=(one_reason,))) == [
        "job posters: no line can run it, but not every line's reason is given"
    ]


def _place(job: str) -> tuple[int, int]:
    return next(
        (line_idx, place)
        for line_idx, line in enumerate(SEQUENCE.lines)
        for place, run in enumerate(line.runs)
        if run.job == job
    )
