"""When a run can start at the earliest, and everything about it from there."""

from __future__ import annotations

from solver.jobs import Job
from solver.locks import Before, FixedStart, Started
from solver.sequence import Placement, Stock
from tests.checker.changeovers import changeover_at, roll_end_changeover, strip_end_changeover
from tests.checker.expected import ExpectedRun
from tests.checker.lateness import press_due_ms
from tests.checker.lots import labels_by_version
from tests.checker.open_time import next_open, open_between, work_through
from tests.checker.quantities import (
    foil_reel_ends,
    roll_ends,
    running_ms,
    speed_um_min,
    stock_for,
    version_doffs,
    version_runs,
)
from tests.checker.state import LineState, Next, Replay
from tests.checker.supply import delivery_times, suffices
from tests.checker.tooling import needed_tooling, tool_needs, tool_sources


def lock_earliest_ms(play: Replay, job: Job) -> int | None:
    """From when on locks let a run start: not before a fixed start, nor before what it must follow."""
    times = []
    for lock in play.problem.locks:
        if isinstance(lock, FixedStart) and lock.job == job.id:
            times.append(lock.start_ms)
        elif isinstance(lock, Before) and lock.then == job.id and str(lock) not in play.broken_locks:
            times += [run.end_ms for run in play.runs.values() if run.job.id == lock.job]
    return max(times, default=None)


def head_of(play: Replay, state: LineState, placement: Placement) -> Next | None:
    """What a run needs before it can start; None if its stock or tools do not exist."""
    problem, job = play.problem, play.problem.jobs[placement.job_idx]
    stock = stock_for(problem, state.line, job)
    if stock is None:
        return None
    needs = needed_tooling(problem, state.line, job, placement.stations, stock)
    sources = tool_sources(problem, play.floor, state.line_idx, tool_needs(needs))
    if sources is None:
        return None
    return Next(state, job, placement, stock, needs, sources)


def earliest_run(play: Replay, state: LineState, placement: Placement) -> tuple[ExpectedRun, Next] | None:
    """A run at the least start that line, ready time, copies, stock, locks and calendar allow."""
    head = head_of(play, state, placement)
    if head is None:
        return None
    for at_ms in possible_starts(play, head):
        expected = run_at(play, head, next_open(state.line.calendar, at_ms))
        if suffices(play.problem, play.taken, expected.taken_by_stock(), expected.start_ms):
            return expected, head
    return None


def possible_starts(play: Replay, head: Next) -> list[int]:
    """The least start but for stock, and the later instants at which its need or the stock can change."""
    earliest = [head.state.free_ms, head.job.ready_ms, *(source.free_ms for source in head.sources)]
    lock_ms = lock_earliest_ms(play, head.job)
    least_ms = max(earliest if lock_ms is None else [*earliest, lock_ms])
    stocks = {head.stock} | ({head.state.unwind} if head.state.unwind is not None else set())
    later = delivery_times(play.problem, stocks)
    later |= {end_ms for _, end_ms in head.line.calendar.closures}
    later.add(head.state.free_ms + head.line.hold_ms + 1)
    if head.line.cold_after_ms is not None:
        later.add(head.state.free_ms + head.line.cold_after_ms + 1)
    return [least_ms, *sorted(at_ms for at_ms in later if at_ms > least_ms)]


def run_at(play: Replay, head: Next, start_ms: int) -> ExpectedRun:
    """Everything about a run whose changeover starts at an instant."""
    problem, state, line, job = play.problem, head.state, head.line, head.job
    versions = version_runs(problem, line, job, labels_by_version(problem, job, head.placement.lot))
    web_um = sum(version.web_um for version in versions)
    die = problem.dies[job.die]
    speed = speed_um_min(problem, line, job, head.placement.stations)
    doffs = sum(version_doffs(job, version.target, die) for version in versions)
    foil_ends = foil_reel_ends(problem, job, web_um)
    run_ms = running_ms(line, web_um, speed, doffs, foil_ends)
    ends = roll_ends(problem, state.line_idx, head.placement, web_um)
    roll_end, strip_end = roll_end_changeover(play, head), strip_end_changeover(play, head)
    changeover = changeover_at(play, head, start_ms - state.free_ms)
    roll_end_ms = sum((roll_end if at_um > 0 else strip_end).outcome.duration_ms for at_um in ends)
    passage = work_through(line, start_ms, changeover.outcome.duration_ms, run_ms + roll_end_ms)
    return ExpectedRun(
        job=job,
        line=line,
        line_idx=state.line_idx,
        placement=head.placement,
        stock=head.stock,
        outgoing=state.unwind,
        versions=versions,
        speed_um_min=speed,
        doffs=doffs,
        foil_reel_ends=foil_ends,
        run_ms=run_ms,
        roll_ends=ends,
        roll_end=roll_end,
        strip_end=strip_end,
        changeover=changeover,
        wait_ms=start_ms - state.free_ms,
        start_ms=start_ms,
        print_start_ms=passage.print_start_ms,
        end_ms=passage.end_ms,
        interruptions=passage.interruptions,
        press_due_ms=press_due_ms(problem, job),
    )


def started_run(
    play: Replay, state: LineState, placement: Placement, lock: Started
) -> tuple[ExpectedRun, Next]:
    """A run that had started: its times are given, it has no changeover and no waste."""
    problem, line, job = play.problem, state.line, play.problem.jobs[placement.job_idx]
    stock = stock_for(problem, line, job) or Stock(job.substrate, job.roll_width_um or line.web_width_um)
    needs = needed_tooling(problem, line, job, placement.stations, stock)
    sources = tool_sources(problem, play.floor, state.line_idx, tool_needs(needs)) or ()
    head = Next(state, job, placement, stock, needs, sources)
    versions = version_runs(problem, line, job)
    expected = ExpectedRun(
        job=job,
        line=line,
        line_idx=state.line_idx,
        placement=placement,
        stock=stock,
        outgoing=None,
        versions=versions,
        speed_um_min=speed_um_min(problem, line, job, placement.stations),
        doffs=sum(version_doffs(job, version.target, problem.dies[job.die]) for version in versions),
        foil_reel_ends=foil_reel_ends(problem, job, sum(version.web_um for version in versions)),
        run_ms=open_between(line.calendar, max(lock.print_start_ms, 0), lock.end_ms),
        roll_ends=[],
        roll_end=roll_end_changeover(play, head),
        strip_end=strip_end_changeover(play, head),
        changeover=None,
        wait_ms=0,
        start_ms=lock.changeover_start_ms,
        print_start_ms=lock.print_start_ms,
        end_ms=lock.end_ms,
        interruptions=(),
        press_due_ms=press_due_ms(problem, job),
    )
    return expected, head
