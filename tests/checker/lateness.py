"""What late jobs cost: a job ends with its last run, and is late once."""

from __future__ import annotations

from fractions import Fraction

from solver.jobs import Job
from solver.problem import Problem
from tests.checker.expected import ExpectedRun
from tests.checker.rounding import MS_PER_H
from tests.checker.state import Replay


def press_due_ms(problem: Problem, job: Job) -> int | None:
    """Ship due less the time from press to van."""
    return None if job.due_ms is None else job.due_ms - problem.plant.after_press_ms


def job_late_eur(problem: Problem, job: Job, end_ms: int) -> Fraction:
    """A late job costs its van once, and every hour pro rata."""
    due_ms = press_due_ms(problem, job)
    if due_ms is None or end_ms <= due_ms:
        return Fraction(0)
    return job.late_eur + job.late_eur_per_h * Fraction(end_ms - due_ms, MS_PER_H)


def run_late_eur(play: Replay, run: ExpectedRun) -> Fraction:
    """A run's late cost: its job's, if it is the run that ends the job; of two the one on the first line."""
    of_job = [other for other in play.runs.values() if other.job.id == run.job.id]
    last = min(of_job, key=lambda other: (-other.end_ms, other.line_idx, other.start_ms))
    return job_late_eur(play.problem, run.job, run.end_ms) if last is run else Fraction(0)
