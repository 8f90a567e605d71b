"""Runs that stand elsewhere than in the sequence in force, looked for run by run."""

from __future__ import annotations

from fractions import Fraction

from solver.locks import Started
from solver.problem import Problem
from tests.checker.expected import ExpectedRun
from tests.checker.state import Replay


def is_moved(play: Replay, run: ExpectedRun) -> bool:
    """Whether the sequence in force has a run's job, but nowhere on its line behind the same job as here."""
    problem, job_id = play.problem, run.job.id
    if problem.in_force is None or has_started(problem, job_id):
        return False
    lines = [[placed.job for placed in runs] for runs in problem.in_force.lines]
    if not any(job_id in jobs for jobs in lines):
        return False
    here = job_before(play, run)
    jobs = lines[run.line_idx]
    places = [place for place, job in enumerate(jobs) if job == job_id]
    return all(last_in_queue(problem, jobs[:place]) != here for place in places)


def has_started(problem: Problem, job_id: str) -> bool:
    """Whether a run of a job had started before the plan."""
    return any(isinstance(lock, Started) and lock.job == job_id for lock in problem.locks)


def job_before(play: Replay, run: ExpectedRun) -> str | None:
    """The job that ran on the line just before a run; None for its first."""
    before = None
    for other in play.runs.values():
        if other is run:
            break
        if other.line_idx == run.line_idx:
            before = other.job.id
    return before


def last_in_queue(problem: Problem, jobs: list[str]) -> str | None:
    """The last of some jobs that the queue still has."""
    queue = {job.id for job in problem.jobs}
    return next((job for job in reversed(jobs) if job in queue), None)


def moved_eur(play: Replay) -> Fraction:
    """The price of every moved run."""
    moved = [run for run in play.runs.values() if is_moved(play, run)]
    return len(moved) * play.problem.plant.moved_run_eur
