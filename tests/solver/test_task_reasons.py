"""Which changes are forced: checked by running every other job directly before."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from solver.account import account
from solver.feasibility import station_choices
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import AspectChange, Changeover, Placement, Run, Sequence
from solver.task_reasons import ChangeReason, TaskReasons, forced_ms
from solver.weights import Weights
from tests.builders.days import DayShape, drawn_day, drawn_order
from tests.examples import first

SEEDS = range(10)
SHAPE = DayShape(jobs=6, lines=1, closures=False, limited_stock=False)


def warm_day(seed: int) -> Problem:
    """One line that never waits long enough to go cold."""
    problem = drawn_day(seed, SHAPE)
    return replace(problem, jobs=tuple(replace(job, ready_ms=0) for job in problem.jobs))


def told(problem: Problem, sequence: Sequence) -> list[tuple[Run, tuple[ChangeReason, ...]]]:
    reasons = TaskReasons(Scheduler(problem, Weights()), sequence.order)
    return [(run, reasons.of(run)) for run in sequence.runs]


def changes(changeover: Changeover) -> set[tuple[str, str]]:
    tasks = [task for stop in changeover.stops for task in stop.tasks] + list(changeover.hidden)
    return {(task.station, change.aspect) for task in tasks for change in task.changes}


def changed_behind(problem: Problem, before: Placement, placement: Placement) -> set[tuple[str, str]]:
    """What the run's changeover changes directly behind another run."""
    run = account(problem, ((before, placement),), Weights()).runs[-1]
    assert run.changeover is not None
    return changes(run.changeover)


@pytest.mark.parametrize("seed", first(SEEDS))
def test_a_change_is_spared_behind_just_those_jobs_behind_which_it_is_not_made(seed: int) -> None:
    """Looked at where each other job runs first: what else the line holds then is as the plan begins."""
    problem = warm_day(seed)
    sequence = account(problem, drawn_order(problem, seed), Weights())
    others = [(run.job, run.job_idx) for run in sequence.runs]
    for run, reasons in told(problem, sequence):
        for reason in reasons:
            for job, job_idx in others:
                if job == run.job:
                    continue
                spared = any(
                    (reason.station, reason.change.aspect)
                    not in changed_behind(problem, Placement(job_idx, stations), run.placement)
                    for stations in station_choices(problem, 0, job_idx)
                    if _touches(problem, Placement(job_idx, stations), reason)
                )
                assert spared == (job in reason.spared_behind)


def _touches(problem: Problem, placement: Placement, reason: ChangeReason) -> bool:
    """Whether a run sets the aspect at that station at all: only then it can spare its change."""
    line = problem.plant.lines[0]
    plan = Scheduler(problem, Weights()).plan(0, placement)
    station_idx = next(idx for idx, station in enumerate(line.stations) if station.id == reason.station)
    if station_idx not in plan.used:
        return False
    aspects = [aspect.name for aspect in line.stations[station_idx].aspects]
    return plan.needs[plan.used.index(station_idx)][aspects.index(reason.change.aspect)] is not None


@pytest.mark.parametrize("seed", first(SEEDS))
def test_every_change_of_a_changeover_is_told_once(seed: int) -> None:
    problem = warm_day(seed)
    for run, reasons in told(problem, account(problem, drawn_order(problem, seed), Weights())):
        assert run.changeover is not None
        assert len(reasons) == len(changes(run.changeover))
        assert {(one.station, one.change.aspect) for one in reasons} == changes(run.changeover)


@pytest.mark.parametrize("seed", first(SEEDS))
def test_what_is_spared_first_on_the_line_is_not_changed_there(seed: int) -> None:
    problem = warm_day(seed)
    for run, reasons in told(problem, account(problem, drawn_order(problem, seed), Weights())):
        first = account(problem, ((run.placement,),), Weights()).runs[0]
        assert first.changeover is not None
        for reason in reasons:
            changed = (reason.station, reason.change.aspect) in changes(first.changeover)
            assert reason.spared_first == (not changed)


def test_a_plate_of_its_own_is_forced_and_its_minutes_count_as_forced() -> None:
    forced: list[AspectChange] = []
    for seed in SEEDS:
        problem = warm_day(seed)
        for _, reasons in told(problem, account(problem, drawn_order(problem, seed), Weights())):
            made = [reason.change for reason in reasons if reason.is_forced]
            assert forced_ms(reasons) == sum((change.duration_ms for change in made), Fraction(0))
            forced += [change for change in made if change.aspect == "plate" and change.after]
    assert forced
