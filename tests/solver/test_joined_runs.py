"""Runs that run as one, worked by hand: the job change between them falls away, all else stays.

On line H a job of 500 m takes 10 minutes; a change of job where nothing else changes takes 1 minute, here
with a least strip of 4 m (12 seconds at set-up speed).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from solver.account import account
from solver.jobs import Job, Version
from solver.locks import Started
from solver.measures import measure
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import Changeover, Lot, Mode, Placement, Run, Sequence
from solver.weights import Weights
from tests.builders.worked import M_UM, MIN_MS, worked_job, worked_line, worked_plant
from tests.checker import check_sequence

STATIONS = (2, 4)
LINE = replace(worked_line("H"), job_change_um=4 * M_UM)
ONE = replace(worked_job("one"), may_join=True)
TWIN = replace(worked_job("twin"), may_join=True, versions=(Version("other artwork", 6_000),))


def problem_of(*jobs: Job) -> Problem:
    return Problem(worked_plant(LINE), jobs)


def in_order(problem: Problem, *lots: Lot | None) -> Sequence:
    """The jobs one after another, which the independent checker must find right."""
    parts = lots or (None,) * len(problem.jobs)
    jobs = range(len(problem.jobs)) if not lots else [0] * len(lots)
    order = (tuple(Placement(idx, STATIONS, lot) for idx, lot in zip(jobs, parts, strict=True)),)
    sequence = account(problem, order, Weights())
    assert check_sequence(problem, sequence, Weights()) == []
    return sequence


def changeover_of(run: Run) -> Changeover:
    assert run.changeover is not None
    return run.changeover


def test_two_jobs_of_one_signature_run_as_one_without_a_job_change() -> None:
    problem = problem_of(ONE, TWIN)
    sequence = in_order(problem)
    one, twin = sequence.runs
    changeover = changeover_of(twin)
    assert changeover.joined
    assert (changeover.duration_ms, changeover.waste_um, changeover.stops) == (0, 0, ())
    assert twin.print_start_ms == twin.changeover_start_ms == one.end_ms
    assert twin.end_ms - one.end_ms == twin.run_ms == 5 * MIN_MS
    assert measure(problem, sequence, Weights()).changeovers["joined"] == 1


@pytest.mark.parametrize("may_join", [(False, True), (True, False), (False, False)])
def test_both_jobs_must_be_allowed_to_join(may_join: tuple[bool, bool]) -> None:
    jobs = [replace(job, may_join=may) for job, may in zip((ONE, TWIN), may_join, strict=True)]
    changeover = changeover_of(in_order(problem_of(*jobs)).runs[1])
    assert not changeover.joined
    assert (changeover.duration_ms, changeover.waste_um) == (MIN_MS + 12_000, 4 * M_UM)


@pytest.mark.parametrize(
    "unlike",
    [
        replace(TWIN, core_um=76_000),
        replace(TWIN, low_migration=True),
        replace(TWIN, slit_layout="two lanes"),
        replace(TWIN, layer_groups=worked_job("twin", "flexo-1").layer_groups),
        replace(TWIN, die="die 2"),
        replace(TWIN, substrate="gloss paper"),
    ],
    ids=["core", "low migration", "slit layout", "layers", "die", "substrate"],
)
def test_jobs_of_another_signature_never_run_as_one(unlike: Job) -> None:
    """Even where nothing has to be done: no core and no slit layout change at a station of this line."""
    problem = problem_of(ONE, unlike)
    stations = STATIONS if len(unlike.layers) == 1 else (1, 2, 4)
    order = ((Placement(0, STATIONS), Placement(1, stations)),)
    sequence = account(problem, order, Weights())
    assert check_sequence(problem, sequence, Weights()) == []
    changeover = changeover_of(sequence.runs[1])
    assert not changeover.joined
    assert changeover.duration_ms >= MIN_MS


def test_a_millisecond_of_waiting_makes_it_a_changeover() -> None:
    end_ms = in_order(problem_of(ONE, TWIN)).runs[0].end_ms
    for wait_ms, joined in ((0, True), (1, False)):
        later = replace(TWIN, ready_ms=end_ms + wait_ms)
        assert changeover_of(in_order(problem_of(ONE, later)).runs[1]).joined is joined


def test_a_joined_run_may_be_joined_in_turn_and_a_low_migration_row_stays_clean() -> None:
    low = [replace(job, low_migration=True) for job in (ONE, TWIN, replace(ONE, id="third"))]
    runs = in_order(problem_of(*low)).runs
    assert [changeover_of(run).joined for run in runs] == [False, True, True]
    assert [changeover_of(run).clean_down_ms for run in runs] == [0, 0, 0]


def test_lots_of_one_job_that_follow_each_other_run_as_one_without_being_asked() -> None:
    alone = replace(worked_job("alone"), least_lot=1_000)
    sequence = in_order(problem_of(alone), Lot(6_000, 12_000), Lot(0, 6_000))
    whole = in_order(problem_of(alone))
    assert [changeover_of(run).joined for run in sequence.runs] == [False, True]
    assert sequence.runs[-1].end_ms == whole.runs[-1].end_ms
    assert sequence.cost == whole.cost


def test_a_run_joins_one_that_had_started() -> None:
    started = Started("one", "H", -10 * MIN_MS, -8 * MIN_MS, 2 * MIN_MS)
    problem = Problem(worked_plant(LINE), (ONE, TWIN), (started,))
    assert changeover_of(in_order(problem).runs[1]).joined


def test_the_first_run_of_a_plan_joins_nothing() -> None:
    assert not changeover_of(in_order(problem_of(ONE)).runs[0]).joined


def test_plans_say_what_they_may_join_by_a_class() -> None:
    own = replace(worked_job("own"), least_lot=1_000)
    scheduler = Scheduler(problem_of(ONE, TWIN, own, worked_job("whole")), Weights())
    one, twin = (scheduler.plan(0, Placement(idx, STATIONS)) for idx in (0, 1))
    lots = [scheduler.plan(0, Placement(2, STATIONS, lot)) for lot in (Lot(0, 6_000), Lot(6_000, 12_000))]
    whole = scheduler.plan(0, Placement(3, STATIONS))
    assert one.join_class == twin.join_class is not None
    assert lots[0].join_class == lots[1].join_class not in (None, one.join_class)
    assert whole.join_class is None
    assert twin.joins(one)
    assert not any(plan.joins(before) for plan, before in ((one, lots[0]), (whole, whole), (one, None)))


def test_the_least_a_run_may_cost_leaves_out_the_job_change_it_may_not_have() -> None:
    scheduler = Scheduler(problem_of(ONE, worked_job("whole")), Weights())
    joining, whole = (scheduler.plan(0, Placement(idx, STATIONS)) for idx in (0, 1))
    floors = [scheduler.weighing.floor_eur(plan) for plan in (joining, whole)]
    assert floors[1] - floors[0] == pytest.approx(float(MIN_MS * LINE.eur_per_ms))


def test_a_changeover_remembered_at_once_is_not_taken_for_one_after_a_wait() -> None:
    """Both have the same shape but for the wait, and are asked for in turn."""
    scheduler = Scheduler(problem_of(ONE, TWIN), Weights())
    one, twin = (scheduler.plan(0, Placement(idx, STATIONS)) for idx in (0, 1))
    setups = scheduler.setups
    setting = setups.setting(twin, setups.setting(one, scheduler.present().lines[0].holding).after)
    durations = [
        setups.setup(twin, one, setting, (), Mode.HELD, False, 0, at_once=at_once).changeover.duration_ms
        for at_once in (True, False, True, False)
    ]
    assert durations == [0, MIN_MS + 12_000, 0, MIN_MS + 12_000]
