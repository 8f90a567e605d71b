"""What a roll end costs by what it makes later, on the worked line: 2.25 minutes inside a run."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from solver.account import account
from solver.baselines import as_entered
from solver.delays import delaying_stretches
from solver.jobs import Job
from solver.stretches import SegmentKind
from solver.web_stretches import stretches_of
from solver.weights import GOALS, Weights
from tests.builders.worked import MIN_MS, worked_job, worked_line, worked_problem

ROLL_END_MIN = Fraction(9, 4)


def dearer_by(*jobs: Job, weights: Weights | None = None) -> list[Fraction]:
    """By how much a roll end inside each run of the line costs more for what it delays."""
    weights = weights or Weights()
    problem = worked_problem(worked_line("H"), *jobs)
    sequence = account(problem, as_entered(problem), weights)
    plain = stretches_of(problem, sequence, weights)
    priced = delaying_stretches(problem, sequence, weights)
    return [
        after.roll_end_eur - before.roll_end_eur
        for one, other in zip(plain, priced, strict=True)
        for before, after in zip(one.stretch.segments, other.stretch.segments, strict=True)
        if before.kind is SegmentKind.PRINT
    ]


def late(job: Job, eur_per_h: int) -> Job:
    return replace(job, due_ms=0, late_eur_per_h=Fraction(eur_per_h))


def ends_before_due(slack_min: float) -> Job:
    """The second of two jobs, so long before it is due; a missed van costs 40 €."""
    first, second = worked_job("first"), worked_job("second", "die")
    problem = worked_problem(worked_line("H"), first, second)
    end_ms = account(problem, as_entered(problem), Weights()).runs[1].end_ms
    return replace(second, due_ms=end_ms + round(slack_min * MIN_MS), late_eur=Fraction(40))


def test_where_nothing_is_late_or_nearly_so_roll_ends_cost_what_they_did() -> None:
    assert dearer_by(worked_job("first"), ends_before_due(30)) == [0, 0]


def test_a_roll_end_makes_every_late_run_behind_it_later() -> None:
    jobs = worked_job("first"), late(worked_job("second", "die"), 60), worked_job("third")
    assert dearer_by(*jobs) == [ROLL_END_MIN, ROLL_END_MIN, 0]


def test_late_runs_add_up() -> None:
    jobs = late(worked_job("first"), 40), late(worked_job("second", "die"), 60)
    assert dearer_by(*jobs) == [ROLL_END_MIN * Fraction(100, 60), ROLL_END_MIN]


@pytest.mark.parametrize(("slack_min", "share"), [(5, 1), (0, 1), (15, 0)])
def test_a_roll_end_may_make_late_what_ends_shortly_before_it_is_due(slack_min: float, share: int) -> None:
    dearer = ROLL_END_MIN * Fraction(40, 15) * share
    assert dearer_by(worked_job("first"), ends_before_due(slack_min)) == [dearer, dearer]


def test_lateness_counts_as_the_goal_weighs_it() -> None:
    job = late(worked_job("only"), 60)
    [plain] = dearer_by(job)
    assert dearer_by(job, weights=GOALS["on-time-first"]) == [1000 * plain]
