"""Locks: each is kept by what comes out, and contradictory ones are refused by name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from solver.account import account
from solver.baselines import as_entered
from solver.calendar import Calendar
from solver.ledger import web_ledger
from solver.lock_conflicts import conflicting_locks
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.problem import Problem
from solver.search.solve import ContradictoryLocksError, solve
from solver.search.stop import Stop
from solver.sequence import Order, Run, Sequence
from solver.weights import Weights
from tests.builders.days import H_MS, MIN_MS, DayShape, drawn_day
from tests.checker.check import check_sequence

SHAPE = DayShape(jobs=8, lines=2, closures=False, limited_stock=False)
DAY_SEED = 4


def day(*locks: Lock, seed: int = DAY_SEED) -> Problem:
    """A drawn day whose jobs j0 to j7 all run on both lines, under locks."""
    free = drawn_day(seed, SHAPE)
    wide = tuple(
        replace(line, web_width_um=330_000, print_width_um=330_000, max_reel_diameter_um=None)
        for line in free.plant.lines
    )
    plant = replace(
        free.plant, lines=wide, dies=tuple(replace(die, max_liner_um=None) for die in free.plant.dies)
    )
    return Problem(plant, free.jobs, locks)


def solved(problem: Problem, work: int = 800) -> Sequence:
    sequence = solve(problem, Weights(), Stop(work=work)).sequences[0]
    assert check_sequence(problem, sequence, Weights(), web_ledger(problem, sequence)) == []
    assert sequence.left_out == ()
    return sequence


def run_of(sequence: Sequence, job: str) -> Run:
    return next(run for run in sequence.runs if run.job == job)


def position_of(sequence: Sequence, job: str) -> tuple[str, int]:
    return next(
        (line.line, position)
        for line in sequence.lines
        for position, run in enumerate(line.runs, 1)
        if run.job == job
    )


KEEPABLE: list[list[Lock]] = [
    [OnLine("j3", "line-1")],
    [OnLine("j3", "line-2")],
    [AtPosition("j5", 1)],
    [AtPosition("j5", 4)],
    [OnLine("j6", "line-2"), AtPosition("j6", 1), AtPosition("j2", 1)],
    [Together(("j1", "j4", "j7"))],
    [Together(("j1", "j4")), Together(("j4", "j7"))],
    [Before("j2", "j0"), Before("j0", "j6")],
    [FixedStart("j2", 10 * H_MS)],
    [FixedStart("j2", 10 * H_MS), OnLine("j2", "line-1"), Before("j2", "j5")],
    [Started("j1", "line-2", -30 * MIN_MS, -10 * MIN_MS, 40 * MIN_MS)],
    [
        Started("j1", "line-2", -30 * MIN_MS, -10 * MIN_MS, 40 * MIN_MS),
        OnLine("j4", "line-2"),
        AtPosition("j4", 1),
    ],
    [Started("j1", "line-2", -30 * MIN_MS, -10 * MIN_MS, 40 * MIN_MS), Together(("j6", "j1", "j4"))],
]


@pytest.mark.parametrize("locks", KEEPABLE, ids=lambda locks: "; ".join(map(str, locks)))
def test_what_comes_out_keeps_the_locks(locks: list[Lock]) -> None:
    assert solved(day(*locks)).broken_locks == ()


def test_a_job_on_a_line_and_a_position_is_there() -> None:
    sequence = solved(day(OnLine("j3", "line-2"), AtPosition("j3", 2)))
    assert position_of(sequence, "j3") == ("line-2", 2)


def test_a_fixed_start_is_the_start_of_the_changeover() -> None:
    sequence = solved(day(FixedStart("j2", 10 * H_MS)))
    assert run_of(sequence, "j2").changeover_start_ms == 10 * H_MS


def test_jobs_kept_together_are_neighbours_on_one_line() -> None:
    sequence = solved(day(Together(("j1", "j4", "j7"))))
    places = sorted(position_of(sequence, job) for job in ("j1", "j4", "j7"))
    assert len({line for line, _ in places}) == 1
    assert places[2][1] - places[0][1] == 2


def test_a_job_that_must_end_before_another_starts_does_so_on_any_lines() -> None:
    sequence = solved(day(Before("j2", "j0"), OnLine("j2", "line-1"), OnLine("j0", "line-2")))
    assert run_of(sequence, "j2").end_ms <= run_of(sequence, "j0").changeover_start_ms


def test_a_started_run_is_first_on_its_line_with_the_times_given() -> None:
    sequence = solved(day(Started("j1", "line-2", -30 * MIN_MS, -10 * MIN_MS, 40 * MIN_MS)))
    run = sequence.lines[1].runs[0]
    assert (run.job, run.changeover) == ("j1", None)
    assert (run.changeover_start_ms, run.print_start_ms, run.end_ms) == (
        -30 * MIN_MS,
        -10 * MIN_MS,
        40 * MIN_MS,
    )
    assert run.run_ms == 40 * MIN_MS


CONTRADICTORY: list[list[Lock]] = [
    [OnLine("j3", "line-1"), OnLine("j3", "line-2")],
    [AtPosition("j3", 1), AtPosition("j3", 2)],
    [OnLine("j3", "line-1"), OnLine("j4", "line-1"), AtPosition("j3", 1), AtPosition("j4", 1)],
    [AtPosition("j3", 9)],
    [Before("j1", "j2"), Before("j2", "j3"), Before("j3", "j1")],
    [Together(("j1", "j2")), OnLine("j1", "line-1"), OnLine("j2", "line-2")],
    [Together(("j1", "j2")), AtPosition("j1", 1), AtPosition("j2", 3)],
    [FixedStart("j1", 2 * H_MS), FixedStart("j2", 3 * H_MS), Before("j2", "j1")],
    [Started("j1", "line-1", -MIN_MS, -MIN_MS, H_MS), Started("j2", "line-1", -MIN_MS, -MIN_MS, H_MS)],
    [Started("j1", "line-1", -MIN_MS, -MIN_MS, H_MS), AtPosition("j1", 1)],
    [Started("j1", "line-1", -MIN_MS, -MIN_MS, H_MS), FixedStart("j1", H_MS)],
    [Started("j1", "line-1", -MIN_MS, -MIN_MS, H_MS), Before("j4", "j1")],
    [Started("j1", "line-1", -MIN_MS, -MIN_MS, H_MS), Together(("j1", "j4")), AtPosition("j4", 2)],
    [Started("j1", "line-2", -MIN_MS, -MIN_MS, H_MS), Together(("j3", "j1")), OnLine("j3", "line-1")],
    [Started("j1", "line-1", -MIN_MS, -MIN_MS, 3 * H_MS), OnLine("j2", "line-1"), FixedStart("j2", H_MS)],
    [Started("j1", "line-1", -MIN_MS, -MIN_MS, 3 * H_MS), OnLine("j1", "line-2")],
]


@pytest.mark.parametrize("locks", CONTRADICTORY, ids=lambda locks: "; ".join(map(str, locks)))
def test_contradictory_locks_are_refused_naming_those_that_conflict(locks: list[Lock]) -> None:
    bystander = OnLine("j0", "line-2")
    with pytest.raises(ContradictoryLocksError) as refused:
        solve(day(bystander, *locks), Weights(), Stop(work=10))
    assert set(refused.value.locks) == set(locks)
    assert all(str(lock) in str(refused.value) for lock in locks)


def test_a_start_while_every_line_is_closed_cannot_be_kept() -> None:
    free = day()
    closed = tuple(replace(line, calendar=Calendar(((H_MS, 3 * H_MS),))) for line in free.plant.lines)
    plant = replace(free.plant, lines=closed)
    inside, outside = FixedStart("j0", 2 * H_MS), FixedStart("j0", 3 * H_MS)
    assert conflicting_locks(Problem(plant, free.jobs, (inside,))) == (inside,)
    assert conflicting_locks(Problem(plant, free.jobs, (outside,))) == ()


@pytest.mark.parametrize("locks", CONTRADICTORY[:-1], ids=lambda locks: "; ".join(map(str, locks)))
def test_contradictory_locks_without_one_of_them_are_fine(locks: list[Lock]) -> None:
    for left_out in locks:
        assert conflicting_locks(day(*(lock for lock in locks if lock is not left_out))) == ()


def test_an_order_that_breaks_a_lock_is_costed_and_says_so() -> None:
    lock = Before("j7", "j0")
    problem = day(lock)
    sequence = account(problem, _all_on_first_line(as_entered(problem)), Weights())
    assert sequence.broken_locks == (str(lock),)


def _all_on_first_line(order: Order) -> Order:
    placements = sorted((placement for line in order for placement in line), key=lambda item: item.job_idx)
    return (tuple(placements), *(() for _ in order[1:]))


@pytest.mark.parametrize(
    ("lock", "complaint"),
    [
        (OnLine("nobody", "line-1"), "unknown job 'nobody'"),
        (OnLine("j0", "nowhere"), "unknown line 'nowhere'"),
        (AtPosition("j0", 0), "positions count from 1"),
        (Together(("j0", "j0")), "twice"),
        (Started("j0", "line-1", 5, 6, 7), "must have started by the plan's start"),
    ],
)
def test_a_lock_that_makes_no_sense_is_refused(lock: Lock, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        day(lock)
