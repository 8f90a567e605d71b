"""Locks drawn from a seed: some that can all be kept, some that may contradict each other."""

from __future__ import annotations

import random
from dataclasses import replace

from solver.account import account
from solver.baselines import as_entered, started_order
from solver.feasibility import station_choices
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.weights import Weights
from tests.builders.days import MIN_MS


def lines_of(problem: Problem, job_idx: int) -> list[int]:
    """The lines that can run a job."""
    return [
        line_idx
        for line_idx in range(len(problem.plant.lines))
        if station_choices(problem, line_idx, job_idx)
    ]


def under_drawn_locks(free: Problem, seed: int) -> Problem:
    """The same queue with runs that have started on some lines and locks of every kind on drawn jobs, which
    may contradict each other: runs may wait for each other in a circle. No lock gives a started run another
    line or time than it has, which no order could mend.
    """
    rng = random.Random(seed)
    jobs = [job.id for job_idx, job in enumerate(free.jobs) if lines_of(free, job_idx)]
    if len(jobs) < 5:
        return free
    begun = with_started_runs(free, rng)
    started = {lock.job for lock in begun.locks if isinstance(lock, Started)}
    waiting = [job for job in jobs if job not in started]
    locks: list[Lock] = [Before(*rng.sample(jobs, 2)) for _ in range(rng.randrange(4))]
    for job in rng.sample(waiting, rng.randrange(3)):
        locks.append(FixedStart(job, rng.randrange(500) * MIN_MS))
    if rng.random() < 0.5:
        locks.append(Together(tuple(rng.sample(jobs, 3))))
    if rng.random() < 0.5:
        locks.append(AtPosition(rng.choice(jobs), rng.randrange(1, 4)))
    if rng.random() < 0.5:
        held = rng.choice(waiting)
        line_idx = rng.choice(lines_of(free, free.job_idx[held]))
        locks.append(OnLine(held, free.plant.lines[line_idx].id))
    return Problem(free.plant, free.jobs, (*begun.locks, *locks))


def with_started_runs(free: Problem, rng: random.Random) -> Problem:
    """The same with a started run on about every other line, as far as there are tools for all of them."""
    begun = free
    for line_idx, line in enumerate(free.plant.lines):
        taken = {lock.job for lock in begun.locks if isinstance(lock, Started)}
        jobs = [
            job.id
            for job_idx, job in enumerate(free.jobs)
            if job.id not in taken and line_idx in lines_of(free, job_idx)
        ]
        if jobs and rng.random() < 0.5:
            print_start_ms, end_ms = -rng.randrange(10) * MIN_MS, rng.randrange(30, 90) * MIN_MS
            lock = Started(rng.choice(jobs), line.id, -20 * MIN_MS, print_start_ms, end_ms)
            more = replace(begun, locks=(*begun.locks, lock))
            begun = more if _has_the_tools(more) else begun
    return begun


def _has_the_tools(problem: Problem) -> bool:
    """Whether there is a copy for every started run."""
    scheduler = Scheduler(problem, Weights())
    started = [
        [scheduler.plan(line_idx, placement) for placement in placements]
        for line_idx, placements in enumerate(started_order(problem))
    ]
    try:
        scheduler.begin(started)
    except ValueError:
        return False
    return True


def under_keepable_locks(free: Problem, seed: int) -> Problem:
    """The same queue with started runs and locks of every kind that one of its orders keeps, all of them."""
    rng = random.Random(seed)
    begun = with_started_runs(free, rng)
    sequence = account(begun, as_entered(begun), Weights())
    runs = [run for run in sequence.runs if run.changeover is not None]
    locks: list[Lock] = []
    for run in rng.sample(runs, min(2, len(runs))):
        locks.append(OnLine(run.job, run.line))
    for run in rng.sample(runs, min(1, len(runs))):
        locks.append(FixedStart(run.job, run.changeover_start_ms))
    for _ in range(2):
        one, other = rng.choice(runs), rng.choice(runs)
        if one.end_ms <= other.changeover_start_ms:
            locks.append(Before(one.job, other.job))
    line = rng.choice(sequence.lines)
    behind = [run for run in line.runs if run.changeover is not None]
    if behind:
        position = rng.randrange(len(behind))
        locks.append(AtPosition(behind[position].job, position + 1))
    if len(line.runs) > 1:
        first = rng.randrange(len(line.runs) - 1)
        locks.append(Together(tuple(run.job for run in line.runs[first : first + 2])))
    return Problem(free.plant, free.jobs, (*begun.locks, *locks))
