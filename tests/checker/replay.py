"""The event-ordered schedule, played again from the order alone.

The line whose next changeover can start earliest goes first. Everything about its run is worked out
from the state the runs before have left: tooling, copies, channels, stock, calendar and locks.
"""

from __future__ import annotations

from dataclasses import dataclass

from solver.jobs import Job
from solver.locks import Before, Started
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Run, Sequence
from solver.weights import Weights
from tests.checker.expected import ExpectedRun
from tests.checker.open_time import is_cold_after
from tests.checker.possible import line_refusals
from tests.checker.runs import run_complaints
from tests.checker.starts import earliest_run, started_run
from tests.checker.state import Next, Replay, present_plant
from tests.checker.tooling import load, needed_channels

Turn = tuple[ExpectedRun, Next]


@dataclass
class Queues:
    """The runs of every line that wait for their turn, and how many lines may be held up.

    A job left out for want of stock or time stood somewhere in the order, where is not told: until it
    was given up it held up its line. So does a lock that had to be broken, until that was plain. A run
    behind either may start later than it could.
    """

    waiting: list[list[Run]]
    most_held_up: int


def replay(problem: Problem, sequence: Sequence, weights: Weights) -> Replay:
    """Play a sequence's order again, with locks it says it breaks not waited for."""
    play = present_plant(problem, weights, sequence.broken_locks)
    queues = Queues([list(line.runs) for line in sequence.lines], most_held_up(problem, sequence))
    for state, waiting in zip(play.states, queues.waiting, strict=True):
        lock = started_lock(problem, state.line, problem.jobs[waiting[0].job_idx]) if waiting else None
        if lock is not None:
            _place(play, *started_run(play, state, waiting.pop(0).placement, lock))
    while any(queues.waiting):
        _next_event(play, queues)
    return play


def most_held_up(problem: Problem, sequence: Sequence) -> int:
    """Left-out jobs that some line could run, and broken locks that a run would have waited for."""
    jobs = [problem.jobs[problem.job_idx[left_out.job]] for left_out in sequence.left_out]
    lines = problem.plant.lines
    given_up = sum(any(not line_refusals(problem, line, job) for line in lines) for job in jobs)
    broken = sum(isinstance(lock, Before) and str(lock) in sequence.broken_locks for lock in problem.locks)
    return given_up + broken


def started_lock(problem: Problem, line: Line, job: Job) -> Started | None:
    """The lock that says a job is running on a line."""
    for lock in problem.locks:
        if isinstance(lock, Started) and lock.job == job.id and lock.line == line.id:
            return lock
    return None


def _next_event(play: Replay, queues: Queues) -> None:
    heads = [waiting[0] for waiting in queues.waiting if waiting]
    free = [run for run in heads if not _waits_for(play, queues, run)]
    turns: list[tuple[Turn, Run]] = []
    for run in free or heads:
        line_idx = play.problem.line_idx[run.line]
        turn = earliest_run(play, play.states[line_idx], run.placement)
        if turn is None:
            play.never.append(run.job)
            queues.waiting[line_idx].pop(0)
            return
        turns.append((turn, run))
    expected, head = _first(play, turns, queues.most_held_up)
    queues.waiting[expected.line_idx].pop(0)
    _place(play, expected, head)


def _first(play: Replay, turns: list[tuple[Turn, Run]], most_held_up: int) -> Turn:
    """The run that starts earliest, ties by line order.

    As many lines as jobs and locks were given up may be held up: past those, the first that is as it should be.
    """
    in_turn = sorted(turns, key=lambda each: (each[0][0].start_ms, each[0][0].line_idx))
    if most_held_up:
        for turn, run in in_turn[: most_held_up + 1]:
            if not run_complaints(play, run, turn[0]):
                return turn
    return in_turn[0][0]


def _waits_for(play: Replay, queues: Queues, run: Run) -> bool:
    """Whether a lock makes a run wait for one that has no time yet."""
    untimed = {other.job for waiting in queues.waiting for other in waiting}
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
    channels = needed_channels(expected.job, expected.placement.stations).values()
    state.awake = (frozenset() if went_cold(expected) else state.awake).union(*channels)
    state.unwind = expected.stock
    state.free_ms = expected.end_ms
    state.last = expected
    play.taken.update(expected.taken_by_stock())
    play.runs[expected.job.id] = expected
    play.reached_ms = expected.start_ms


def went_cold(expected: ExpectedRun) -> bool:
    """Whether the channels awake before a run fell asleep: it began cold or rested long on the way."""
    if expected.changeover is not None:
        return expected.changeover.cold or any(closure.cold for closure in expected.interruptions)
    return any(
        expected.print_start_ms <= begin < expected.end_ms and is_cold_after(expected.line, end - begin)
        for begin, end in expected.line.calendar.closures
    )
