"""Whether every job is there once, on stations that can do it."""

from __future__ import annotations

from solver.problem import Problem
from solver.sequence import Run, Sequence
from tests.checker.complaints import differs
from tests.checker.lots import split_complaints
from tests.checker.possible import legal_choices, line_refusals
from tests.checker.quantities import stock_for
from tests.checker.replay import started_lock


def line_complaints(problem: Problem, sequence: Sequence) -> list[str]:
    """Every line of the plant has its runs, in the plant's order."""
    said = [line.line for line in sequence.lines]
    return differs("sequence", "its list of lines", said, [line.id for line in problem.plant.lines])


def job_complaints(problem: Problem, sequence: Sequence) -> list[str]:
    """Every job is placed once or left out once, whole or in lots; a left-out job has a reason."""
    seen = [run.job for run in sequence.runs] + [left_out.job for left_out in sequence.left_out]
    complaints = split_complaints(problem, sequence)
    unknown = [job_id for job_id in dict.fromkeys(seen) if job_id not in problem.job_idx]
    complaints += [f"job {job_id}: is not in the queue" for job_id in unknown]
    for left_out in sequence.left_out:
        if not any(reason.strip() for reason in left_out.reasons):
            complaints.append(f"job {left_out.job}: is left out without a reason")
    return complaints


def placement_complaints(problem: Problem, sequence: Sequence) -> list[str]:
    """Every run names its job, line and stations alike, and the line can run it so."""
    complaints = []
    for line_runs in sequence.lines:
        for place, run in enumerate(line_runs.runs):
            complaints += _names(problem, line_runs.line, run) or _stations(problem, run, first=place == 0)
    return complaints


def _names(problem: Problem, line_id: str, run: Run) -> list[str]:
    where = f"run {run.job}"
    complaints = differs(where, "its line", run.line, line_id)
    complaints += differs(where, "the placement's job", run.placement.job_idx, run.job_idx)
    return complaints + differs(where, "its job's position", run.job_idx, problem.job_idx[run.job])


def _stations(problem: Problem, run: Run, *, first: bool) -> list[str]:
    line = problem.plant.lines[problem.line_idx[run.line]]
    job = problem.jobs[problem.job_idx[run.job]]
    where = f"run {run.job}"
    chosen = run.placement.stations
    if len(chosen) != len(job.layers) + 1 or not all(0 <= k < len(line.stations) for k in chosen):
        return [f"{where}: stations {chosen} are not one for every layer and the die"]
    complaints = differs(where, "stations", run.stations, tuple(line.stations[k].id for k in chosen))
    lock = started_lock(problem, line, job) if first else None
    if lock is not None and lock.stations is not None:
        return complaints + differs(where, "stations of the started run", run.stations, lock.stations)
    choices = legal_choices(problem, line, job)
    if lock is not None:
        return complaints + differs(where, "stations of the started run", chosen, next(choices, chosen))
    if chosen not in set(choices):
        complaints.append(f"{where}: stations {run.stations} are no possible choice on {line.id}")
    complaints += [f"{where}: {line.id} cannot run it: {why}" for why in line_refusals(problem, line, job)]
    return complaints + differs(where, "stock", run.stock, stock_for(problem, line, job))
