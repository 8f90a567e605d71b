"""Lines placed in step by the kernels come out as in the account: jobs whole and in lots, under locks, with
everything that lines share.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.calendar import Calendar
from solver.locks import Before, FixedStart
from solver.problem import Problem
from solver.search import walk_room
from solver.search.compile import CompiledPlant
from solver.search.decode import PlantDecoder
from solver.sequence import Sequence
from solver.timeline import State
from solver.weights import GOALS, Weights
from tests.builders.days import H_MS, DayShape, drawn_day, with_scarce_cylinders
from tests.builders.drawn_locks import under_drawn_locks
from tests.builders.plant_orders import (
    assert_placed_as_accounted,
    assert_scored_as_accounted,
    drawn_plant_numbers,
    placed_in_time,
)
from tests.examples import examples

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))
FEATURE_SEEDS = range(30)
HORIZON_MS = 10 * H_MS
FEATURES = {
    "a job in lots",
    "a lot joined to its job's other lot",
    "jobs joined",
    "a lot left out",
    "lots late at different times",
    "a tool taken from another line",
    "a tool taken from another station of the line",
    "stock that never suffices",
    "a run that waits for a delivery",
    "a run beyond the calendar",
    "a closure in a run",
    "a started run",
    "a fixed start kept",
    "a run that waits for one of another line",
    "runs that wait for each other in a circle",
    "a lock broken",
    "low migration",
    "work done while another run runs",
}


def full_day(seed: int) -> Problem:
    """A drawn day of one to three lines with lots and locks; half of them with cylinders that are there once,
    a third with calendars that end.
    """
    rng = random.Random(seed)
    day = drawn_day(seed, DayShape(jobs=12, lines=1 + seed % 3, splits=True))
    if rng.random() < 0.5:
        day = with_scarce_cylinders(day)
    if rng.random() < 0.3:
        day = _ending_calendars(day)
    return under_drawn_locks(day, seed)


def _ending_calendars(day: Problem) -> Problem:
    lines = tuple(
        replace(line, calendar=Calendar(_before(line.calendar, HORIZON_MS), HORIZON_MS))
        for line in day.plant.lines
    )
    return Problem(replace(day.plant, lines=lines), day.jobs, day.locks)


def _before(calendar: Calendar, at_ms: int) -> tuple[tuple[int, int], ...]:
    return tuple(closure for closure in calendar.closures if closure[1] <= at_ms)


@examples(30)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES)
def test_drawn_orders_of_jobs_and_lots_come_out_as_in_the_account(seed: int, lines: int, goal: str) -> None:
    compiled = CompiledPlant(drawn_day(seed, DayShape(jobs=12, lines=lines, splits=True)), GOALS[goal])
    decoder, rng = PlantDecoder(compiled), random.Random(seed)
    for _ in range(2):
        assert_placed_as_accounted(decoder, drawn_plant_numbers(compiled, rng))


@examples(40)
@given(SEEDS, GOAL_NAMES)
def test_so_do_those_under_locks_with_what_is_scarce(seed: int, goal: str) -> None:
    compiled = CompiledPlant(full_day(seed), GOALS[goal])
    decoder, rng = PlantDecoder(compiled), random.Random(seed)
    for _ in range(2):
        assert_placed_as_accounted(decoder, drawn_plant_numbers(compiled, rng))


@examples(30)
@given(SEEDS, GOAL_NAMES)
def test_an_island_counts_the_faults_of_an_order_as_the_scheduler_does(seed: int, goal: str) -> None:
    compiled = CompiledPlant(full_day(seed), GOALS[goal])
    numbers = drawn_plant_numbers(compiled, random.Random(seed))
    if numbers.any():
        assert_scored_as_accounted(compiled, numbers)


@examples(25)
@given(SEEDS, st.integers(1, 3))
def test_so_do_those_that_do_not_hold_all_jobs(seed: int, lines: int) -> None:
    """Lots are late together however few jobs there are beside them; once a missing job hid them."""
    compiled = CompiledPlant(drawn_day(seed, DayShape(jobs=12, lines=lines, splits=True)), Weights())
    rng = random.Random(seed)
    orders = compiled.line_numbers(drawn_plant_numbers(compiled, rng))
    for share in (0.8, 0.4):
        kept = [[number for number in order if rng.random() < share] for order in orders]
        assert_placed_as_accounted(PlantDecoder(compiled), compiled.numbered(kept))


def test_these_days_have_every_feature() -> None:
    met: set[str] = set()
    for seed in FEATURE_SEEDS:
        compiled = CompiledPlant(full_day(seed), Weights())
        decoder, rng = PlantDecoder(compiled), random.Random(seed)
        for _ in range(2):
            numbers = drawn_plant_numbers(compiled, rng)
            sequence = assert_placed_as_accounted(decoder, numbers)
            met |= set(_features(compiled.problem, sequence, placed_in_time(compiled, numbers)))
        if met >= FEATURES:
            break
    assert met == FEATURES


def _features(problem: Problem, sequence: Sequence, state: State) -> Iterator[str]:
    """What an order meets."""
    yield from _features_of_lots(sequence)
    yield from _features_of_sharing(problem, sequence, state)
    for run in sequence.runs:
        if run.changeover is None:
            yield "a started run"
            continue
        if run.changeover.clean_down_ms:
            yield "low migration"
        if run.changeover.hidden:
            yield "work done while another run runs"
        if run.interruptions:
            yield "a closure in a run"
    if sequence.broken_locks:
        yield "a lock broken"
    for lock in problem.locks:
        placed = [run for run in sequence.runs if isinstance(lock, FixedStart) and run.job == lock.job]
        if placed and str(lock) not in sequence.broken_locks:
            yield "a fixed start kept"


def _features_of_lots(sequence: Sequence) -> Iterator[str]:
    for run, after in (pair for line in sequence.lines for pair in pairwise(line.runs)):
        if after.changeover is not None and after.changeover.joined:
            yield "jobs joined" if run.job != after.job else "a lot joined to its job's other lot"
    late_lots: dict[str, set[int]] = {}
    for run in sequence.runs:
        if run.lot is not None:
            yield "a job in lots"
            if run.lateness_ms:
                late_lots.setdefault(run.job, set()).add(run.end_ms)
    if any(len(ends_ms) > 1 for ends_ms in late_lots.values()):
        yield "lots late at different times"
    if any(left.lot is not None for left in sequence.left_out):
        yield "a lot left out"


def _features_of_sharing(problem: Problem, sequence: Sequence, state: State) -> Iterator[str]:
    for event in state.events:
        for place in (fetch.copy.place for fetch in event.fetched if event.changeover is not None):
            if place is not None:
                is_own = place[0] == event.plan.line_idx
                yield "a tool taken from another " + ("station of the line" if is_own else "line")
    for dropped in state.dropped:
        yield "a run beyond the calendar" if "calendar" in dropped.reason else "stock that never suffices"
    if state.unbound:
        yield "runs that wait for each other in a circle"
    arrivals_ms = {
        delivery.at_ms for stocked in problem.followed_stocks.values() for delivery in stocked.deliveries
    }
    lines = {run.job: run.line for run in sequence.runs}
    ends_ms = {run.job: run.end_ms for run in sequence.runs}
    for run in sequence.runs:
        if run.wait_ms and run.changeover_start_ms in arrivals_ms:
            yield "a run that waits for a delivery"
        for lock in (lock for lock in problem.locks if isinstance(lock, Before)):
            is_far = lock.then == run.job and lines.get(lock.job) != run.line
            if is_far and run.wait_ms and ends_ms.get(lock.job) == run.changeover_start_ms:
                yield "a run that waits for one of another line"


def test_changeovers_for_which_there_was_no_room_are_worked_out_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compiled = CompiledPlant(full_day(8), Weights())
    numbers = drawn_plant_numbers(compiled, random.Random(8))
    ample = PlantDecoder(compiled).decode(numbers)
    monkeypatch.setattr(walk_room, "usual_cases", lambda runs, lines: 4)
    decoder = PlantDecoder(compiled)
    cramped = decoder.decode(numbers)
    assert any(len(line.changeovers.guarded) > 4 for line in decoder.room.lines)
    assert (cramped.eur, cramped.left_out) == (ample.eur, ample.left_out)
    assert all((one == other).all() for one, other in zip(cramped.traces, ample.traces, strict=True))
