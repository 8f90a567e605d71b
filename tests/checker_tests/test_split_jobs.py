"""A drawn day of lots and joined runs: the right account passes, every altered value in it is caught."""

from __future__ import annotations

from dataclasses import replace

import pytest

from solver.account import account
from solver.ledger import web_ledger
from solver.locks import Together
from solver.problem import Problem
from solver.sequence import LeftOut, Lot, Run, Sequence
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day, drawn_lots
from tests.checker import check_sequence
from tests.checker.replay import replay
from tests.checker.web import ledger_complaints
from tests.checker_tests.alterations import alterations, shuffled
from tests.examples import first

SEED = 599
PROBLEM = drawn_day(SEED, DayShape(jobs=4, lines=2, splits=True))
SEQUENCE = account(PROBLEM, drawn_lots(PROBLEM, SEED), Weights())
LEDGER = web_ledger(PROBLEM, SEQUENCE)
SAID_FREELY = {"AspectChange.before", "AspectChange.after"}
"""What the model leaves to the teller in some places."""
OF_LOTS = {"Changeover.joined", "Lot.first", "Lot.last"}


def complaints(sequence: Sequence, problem: Problem = PROBLEM) -> list[str]:
    return check_sequence(problem, sequence, Weights(), web_ledger(problem, sequence))


def with_runs(changed: dict[Run, Run | None], left_out: tuple[LeftOut, ...]) -> Sequence:
    lines = tuple(
        replace(line, runs=tuple(new for run in line.runs if (new := changed.get(run, run)) is not None))
        for line in SEQUENCE.lines
    )
    return replace(SEQUENCE, lines=lines, left_out=left_out)


def a_lot() -> Run:
    return next(run for run in SEQUENCE.runs if run.lot is not None)


def test_the_day_holds_what_can_go_wrong_and_its_account_is_right() -> None:
    changeovers = [run.changeover for run in SEQUENCE.runs if run.changeover]
    assert any(changeover.joined for changeover in changeovers)
    assert any(run.lot is not None and run.lateness_ms and not run.late_eur for run in SEQUENCE.runs)
    assert any(run.lot is not None and run.late_eur for run in SEQUENCE.runs)
    assert any(left_out.lot is not None for left_out in SEQUENCE.left_out)
    assert complaints(SEQUENCE) == []


def test_no_value_may_be_another() -> None:
    altered = list(alterations(SEQUENCE))
    assert len(altered) > 300
    of_lots = [each for each in altered if each[0] in OF_LOTS]
    caught = {
        (name, bool(check_sequence(PROBLEM, other, Weights())))
        for name, _, other in (*of_lots, *first(shuffled(altered)))
    }
    assert {name for name, is_caught in caught if not is_caught} <= SAID_FREELY
    assert {(name, True) for name in OF_LOTS} <= caught


def test_no_value_of_the_ledger_may_be_another() -> None:
    play = replay(PROBLEM, SEQUENCE, Weights())
    for line_idx, pieces in enumerate(LEDGER):
        for place, piece in enumerate(pieces):
            for name, path, other in alterations(piece):
                altered = (*pieces[:place], other, *pieces[place + 1 :])
                ledger = (*LEDGER[:line_idx], altered, *LEDGER[line_idx + 1 :])
                assert ledger_complaints(play, ledger), (name, path, piece)


def test_a_lot_that_vanishes_is_caught() -> None:
    lot = a_lot()
    assert any(
        "begins at label" in each or "end at label" in each
        for each in complaints(with_runs({lot: None}, SEQUENCE.left_out))
    )


def test_a_lot_that_runs_twice_is_caught() -> None:
    lot = a_lot()
    twice = replace(SEQUENCE.lines[0], runs=(*SEQUENCE.lines[0].runs, replace(lot, line="line-1")))
    assert complaints(replace(SEQUENCE, lines=(twice, *SEQUENCE.lines[1:])))


def test_a_job_that_is_not_to_be_split_is_caught() -> None:
    lot = a_lot()
    for change in ({"least_lot": None}, {"least_lot": 10**9}):
        jobs = tuple(replace(job, **change) if job.id == lot.job else job for job in PROBLEM.jobs)
        assert any(lot.job in each for each in complaints(SEQUENCE, Problem(PROBLEM.plant, jobs)))


def test_a_job_split_under_a_lock_on_its_neighbours_is_caught() -> None:
    lot = a_lot()
    other = next(job.id for job in PROBLEM.jobs if job.id != lot.job)
    locked = Problem(PROBLEM.plant, PROBLEM.jobs, (Together((lot.job, other)),))
    assert f"job {lot.job}: is split under the lock “{lot.job}, {other} stay together”" in check_sequence(
        locked, SEQUENCE, Weights()
    )


@pytest.mark.parametrize("lot", [None, Lot(0, 5)])
def test_a_job_there_in_lots_and_otherwise_too_is_caught(lot: Lot | None) -> None:
    more = (*SEQUENCE.left_out, LeftOut(a_lot().job, ("twice",), lot))
    assert complaints(replace(SEQUENCE, left_out=more))
