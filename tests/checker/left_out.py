"""Whether jobs are left out for good reason.

Where a left-out job would have stood is not known, nor which of the others were still in the order when
it was given up. So a complaint is made only when it would have found stock and time on every line that
can run it, even at the end of all, beside all others left out, and at the most it could take.
"""

from __future__ import annotations

from solver.jobs import Job
from solver.plant import AspectRule, Line
from solver.problem import Problem
from solver.sequence import LeftOut, Sequence, Stock
from tests.checker.open_time import interruption_ms, interruption_waste_um, next_open, work_through
from tests.checker.possible import legal_choices, line_refusals
from tests.checker.quantities import (
    foil_reel_ends,
    running_ms,
    speed_um_min,
    usual_rolls,
    version_doffs,
    version_runs,
)
from tests.checker.rounding import MS_PER_MIN, ceil_div
from tests.checker.starts import lock_earliest_ms
from tests.checker.state import Replay
from tests.checker.supply import delivery_times, supply_um


def left_out_complaints(play: Replay, sequence: Sequence) -> list[str]:
    """Jobs left out that some line could have run, or without a reason for every line."""
    problem = play.problem
    jobs = [problem.jobs[problem.job_idx[left_out.job]] for left_out in sequence.left_out]
    able = {job.id: able_lines(problem, job) for job in jobs}
    given_up = [job for job in jobs if able[job.id]]
    complaints = []
    for left_out in sequence.left_out:
        lines = able[left_out.job]
        if not lines:
            complaints += _reasons_complaints(problem, left_out)
        elif not any(
            may_lack_stock(play, line, given_up) or may_lack_time(play, line, given_up) for line in lines
        ):
            names = ", ".join(line.id for line in lines)
            complaints.append(f"job {left_out.job}: is left out, but {names} can run it and nothing is short")
    return complaints


def able_lines(problem: Problem, job: Job) -> list[Line]:
    """The lines that can run a job."""
    return [line for line in problem.plant.lines if not line_refusals(problem, line, job)]


def _reasons_complaints(problem: Problem, left_out: LeftOut) -> list[str]:
    if len(left_out.reasons) >= len(problem.plant.lines):
        return []
    return [f"job {left_out.job}: no line can run it, but not every line's reason is given"]


def may_lack_stock(play: Replay, line: Line, given_up: list[Job]) -> bool:
    """Whether a stock could be too short for all jobs given up, their own or one they may leave blank."""
    problem = play.problem
    waste_um = sum(most_waste_um(problem, line, job) for job in given_up)
    for stock in all_stocks(problem):
        there_um = supply_um(problem, stock)
        webs_um = sum(web_um(problem, line, job) for job in given_up if job.substrate == stock.substrate)
        if there_um is not None and play.taken[stock] + webs_um + waste_um > there_um:
            return True
    return False


def all_stocks(problem: Problem) -> set[Stock]:
    """Every substrate in every width it is stocked in."""
    return {
        Stock(substrate.code, stocked.width_um)
        for substrate in problem.plant.substrates
        for stocked in substrate.widths
    }


def may_lack_time(play: Replay, line: Line, given_up: list[Job]) -> bool:
    """Whether the jobs given up could end beyond the line's horizon, one after another behind all else."""
    problem = play.problem
    horizon_ms = line.calendar.horizon_ms
    if horizon_ms is None:
        return False
    starts = [line.present.free_at_ms, *(run.end_ms for run in play.runs.values())]
    starts += delivery_times(problem, all_stocks(problem))
    for job in given_up:
        lock_ms = lock_earliest_ms(play, job)
        starts += [job.ready_ms] if lock_ms is None else [job.ready_ms, lock_ms]
    work_ms = sum(most_work_ms(problem, line, job) for job in given_up)
    passage = work_through(line, next_open(line.calendar, max(starts)), work_ms, 0)
    return passage.end_ms > horizon_ms


def web_um(problem: Problem, line: Line, job: Job) -> int:
    """Sellable web and spoilage of a job on a line."""
    return sum(version.web_um for version in version_runs(problem, line, job))


def most_strip_um(line: Line) -> int:
    """More than any changeover or roll end on a line can waste."""
    stations = line.stations
    registers_um = [max((a.register_um for a in station.aspects), default=0) for station in stations]
    back_um = [station.reengage_um for station in stations]
    path_um = stations[-1].x_um + max(station.lift_um for station in stations)
    restarts_um = len(stations) * len(stations) * line.restart_um
    lost_um = line.splice_um + line.settle_um + line.job_change_um + line.start_up_um
    return 2 * path_um + sum(registers_um) + sum(back_um) + restarts_um + lost_um


def most_changes(problem: Problem, line: Line, job: Job) -> int:
    """Changeovers, roll ends and closures of one run at most."""
    web = web_um(problem, line, job)
    rolls = usual_rolls(problem.substrates[job.substrate], web)
    chosen = [
        len(ends_um)
        for (_, placement), ends_um in problem.roll_ends.items()
        if problem.jobs[placement.job_idx] is job
    ]
    return 1 + max(rolls - 1, *chosen, 0) + len(line.calendar.closures)


def most_waste_um(problem: Problem, line: Line, job: Job) -> int:
    """More than a run of the job can waste."""
    each_um = most_strip_um(line) + interruption_waste_um(line, cold=True)
    return most_changes(problem, line, job) * each_um


def most_work_ms(problem: Problem, line: Line, job: Job) -> int:
    """More than changeover, run, roll ends and interruptions of the job can take."""
    tasks_ms = sum(
        2 * aspect.duration_ms * (len(station.channels) if aspect.rule is AspectRule.ADDED else 1)
        for station in line.stations
        for aspect in station.aspects
    )
    tasks_ms += len(line.stations) * max(problem.plant.wash_up_ms.values(), default=0)
    fixed_ms = line.job_change_ms + line.clean_down_in_ms + line.clean_down_out_ms + line.start_up_ms
    passing_ms = ceil_div(most_strip_um(line) * MS_PER_MIN, line.setup_speed_um_min)
    each_ms = tasks_ms + fixed_ms + passing_ms + len(line.stations) * line.stop_ms
    changes_ms = most_changes(problem, line, job) * (each_ms + interruption_ms(line, cold=True))
    return changes_ms + _longest_run_ms(problem, line, job)


def _longest_run_ms(problem: Problem, line: Line, job: Job) -> int:
    web, die = web_um(problem, line, job), problem.dies[job.die]
    doffs = sum(version_doffs(job, version.target, die) for version in version_runs(problem, line, job))
    foil_ends = foil_reel_ends(problem, job, web)
    speeds = [speed_um_min(problem, line, job, stations) for stations in legal_choices(problem, line, job)]
    return max((running_ms(line, web, speed, doffs, foil_ends) for speed in speeds), default=0)
