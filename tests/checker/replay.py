"""The event-ordered schedule, played again from the order alone.

The line whose next changeover can start earliest goes first. Everything about its run is worked out
from the state the runs before have left: tooling, copies, channels, stock, calendar and locks.
"""

from __future__ import annotations

from solver.jobs import Job
from solver.locks import Before, Started
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Run, Sequence
from solver.weights import Weights
from tests.checker.expected import ExpectedRun
from tests.checker.open_time import is_cold_after
from tests.checker.starts import earliest_run, started_run
from tests.checker.state import Next, Replay, present_plant
from tests.checker.tooling import load, needed_channels


def replay(problem: Problem, sequence: Sequence, weights: Weights) -> Replay:
    """Play a sequence's order again. Neither left-out jobs nor broken locks hold anything up."""
    play = present_plant(problem, weights, sequence.broken_locks)
    queues = [list(line.runs) for line in sequence.lines]
    for state, waiting in zip(play.states, queues, strict=True):
        lock = started_lock(problem, state.line, problem.jobs[waiting[0].job_idx]) if waiting else None
        if lock is not None:
            _place(play, *started_run(play, state, waiting.pop(0).placement, lock))
    while any(queues):
        _next_event(play, queues)
    return play


def started_lock(problem: Problem, line: Line, job: Job) -> Started | None:
    """The lock that says a job is running on a line."""
    for lock in problem.locks:
        if isinstance(lock, Started) and lock.job == job.id and lock.line == line.id:
            return lock
    return None


def _next_event(play: Replay, queues: list[list[Run]]) -> None:
    """Start the run that can start earliest, ties by line order."""
    heads = [waiting[0] for waiting in queues if waiting]
    turns: list[tuple[ExpectedRun, Next]] = []
    for run in [run for run in heads if not _waits_for(play, queues, run)] or heads:
        line_idx = play.problem.line_idx[run.line]
        turn = earliest_run(play, play.states[line_idx], run.placement)
        if turn is None:
            play.never.append(run.job)
            queues[line_idx].pop(0)
            return
        turns.append(turn)
    expected, head = min(turns, key=lambda turn: (turn[0].start_ms, turn[0].line_idx))
    queues[expected.line_idx].pop(0)
    _place(play, expected, head)


def _waits_for(play: Replay, queues: list[list[Run]], run: Run) -> bool:
    """Whether a lock makes a run wait for one that has no time yet."""
    untimed = {other.job for waiting in queues for other in waiting}
    return any(
        isinstance(lock, Before)
        and lock.then == run.job
        and str(lock) not in play.broken_locks
        and lock.job in untimed
        for lock in play.problem.locks
    )


def _place(play: Replay, expected: ExpectedRun, head: Next) -> None:
    """Let a run happen: it leaves its tooling, channels and stock behind for the next."""
    state = head.state
    load(play.problem, play.floor, state.line_idx, head.needs, head.sources, expected.end_ms)
    awake = {} if went_cold(expected) else state.awake
    for station_idx, channels in needed_channels(expected.job, expected.placement.stations).items():
        awake = awake | {station_idx: awake.get(station_idx, frozenset()) | channels}
    state.awake = awake
    state.unwind = expected.stock
    state.free_ms = expected.end_ms
    state.last = expected
    play.taken.update(expected.taken_by_stock())
    play.runs[expected.job.id, expected.placement.lot] = expected


def went_cold(expected: ExpectedRun) -> bool:
    """Whether the channels awake before a run fell asleep: it began cold or rested long on the way."""
    if expected.changeover is not None:
        return expected.changeover.cold or any(closure.cold for closure in expected.interruptions)
    return any(
        expected.print_start_ms <= begin < expected.end_ms and is_cold_after(expected.line, end - begin)
        for begin, end in expected.line.calendar.closures
    )
