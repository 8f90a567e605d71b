"""Locks: each is kept, unless the sequence names it among the broken ones, and then it really is."""

from __future__ import annotations

from solver.locks import Before, FixedStart, Lock, OnLine, Started, Together
from solver.problem import Problem
from solver.sequence import Run, Sequence
from tests.checker.replay import started_lock


def lock_complaints(problem: Problem, sequence: Sequence) -> list[str]:
    """Locks not kept in silence, and locks named as broken that are kept or unknown.

    A lock that speaks of a left-out job is neither: whether it is kept cannot be told.
    """
    runs: dict[str, list[Run]] = {}
    for run in sequence.runs:
        runs.setdefault(run.job, []).append(run)
    complaints = []
    for lock in problem.locks:
        if not all(job_id in runs for job_id in locked_jobs(lock)):
            continue
        kept, named = is_kept(problem, sequence, runs, lock), str(lock) in sequence.broken_locks
        if not kept and not named:
            complaints.append(f"lock “{lock}”: is not kept and not named as broken")
        if kept and named:
            complaints.append(f"lock “{lock}”: is kept but named as broken")
    known = {str(lock) for lock in problem.locks}
    complaints += [f"lock “{name}”: is not known" for name in sequence.broken_locks if name not in known]
    return complaints


def locked_jobs(lock: Lock) -> tuple[str, ...]:
    """The jobs a lock speaks of."""
    if isinstance(lock, Together):
        return lock.jobs
    return (lock.job, lock.then) if isinstance(lock, Before) else (lock.job,)


def is_kept(problem: Problem, sequence: Sequence, runs: dict[str, list[Run]], lock: Lock) -> bool:
    """Whether an order keeps a lock. Only locks on lines and on what comes before are for split jobs."""
    if isinstance(lock, Together):
        return together_is_kept(sequence, lock)
    if isinstance(lock, Before):
        starts = [run.changeover_start_ms for run in runs[lock.then]]
        return all(run.end_ms <= start_ms for run in runs[lock.job] for start_ms in starts)
    if isinstance(lock, OnLine):
        return {run.line for run in runs[lock.job]} == {lock.line}
    (run,) = runs[lock.job]
    if isinstance(lock, Started):
        return started_is_kept(sequence, run, lock)
    if isinstance(lock, FixedStart):
        return run.changeover_start_ms == lock.start_ms
    return position(problem, sequence, run) == lock.position


def started_is_kept(sequence: Sequence, run: Run, lock: Started) -> bool:
    """First on its line, with the times given."""
    first_runs = [line.runs[0] for line in sequence.lines if line.line == lock.line and line.runs]
    times = (run.changeover_start_ms, run.print_start_ms, run.end_ms)
    return first_runs == [run] and times == (lock.changeover_start_ms, lock.print_start_ms, lock.end_ms)


def position(problem: Problem, sequence: Sequence, run: Run) -> int:
    """A run's place on its line, counted from 1 after a started run."""
    line = problem.plant.lines[problem.line_idx[run.line]]
    runs = next(line_runs.runs for line_runs in sequence.lines if line_runs.line == run.line)
    started = started_lock(problem, line, problem.jobs[runs[0].job_idx]) is not None
    return [other.job for other in runs].index(run.job) + (0 if started else 1)


def together_is_kept(sequence: Sequence, lock: Together) -> bool:
    """The jobs stand next to each other on one line, in any order."""
    for line in sequence.lines:
        places = [place for place, run in enumerate(line.runs) if run.job in lock.jobs]
        if places:
            return len(places) == len(lock.jobs) == places[-1] - places[0] + 1
    return True
