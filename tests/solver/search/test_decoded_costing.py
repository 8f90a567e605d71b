"""Orders costed by the kernels come to what the scheduler says: cost, ends, jobs left out, locks broken."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from solver.account import account
from solver.costing import ScheduledCosting
from solver.explain import explain
from solver.locks import AtPosition, Before, FixedStart, Lock, OnLine, Started, Together
from solver.other_places import Extent
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.decoded_costing import DecodedCosting
from solver.sequence import Order
from solver.weights import Weights
from tests.builders.days import H_MS, DayShape, drawn_day, drawn_lots, drawn_order
from tests.builders.single_moves import every_single_move
from tests.examples import first

SEEDS = range(6)


def locked_day(seed: int) -> tuple[Problem, Order]:
    """A drawn day of one to three lines with an order, under locks that it keeps or breaks."""
    rng = random.Random(seed)
    problem = drawn_day(seed, DayShape(jobs=6, lines=1 + seed % 3))
    order = account(problem, drawn_order(problem, seed), Weights()).order
    first, then, third, fourth = rng.sample([job.id for job in problem.jobs], 4)
    locks: list[Lock] = [
        Before(first, then),
        Together((first, third)),
        AtPosition(third, 2),
        OnLine(fourth, "line-1"),
    ]
    if seed % 2:
        locks.append(FixedStart(then, rng.randrange(30) * H_MS))
    else:
        locks.append(_started(problem, order))
    problem = replace(problem, locks=tuple(locks))
    return problem, account(problem, order, Weights()).order


def _started(problem: Problem, order: Order) -> Started:
    """The first run of the first line that has one had started an hour ago."""
    line_idx, placements = next((idx, row) for idx, row in enumerate(order) if row)
    line = problem.plant.lines[line_idx]
    stations = tuple(line.stations[idx].id for idx in placements[0].stations)
    job = problem.jobs[placements[0].job_idx].id
    return Started(job, line.id, -H_MS, -H_MS // 2, 2 * H_MS, stations)


def assert_alike(problem: Problem, order: Order) -> int:
    """Every single move costs the same both ways; how many there were."""
    scheduled = ScheduledCosting(Scheduler(problem, Weights()), order)
    decoded = DecodedCosting(problem, Weights(), order)
    orders = [sequence.order for *_, sequence in every_single_move(problem, order, Weights())]
    for one, other in zip(scheduled.outcomes(orders), decoded.outcomes(orders), strict=True):
        assert other.eur == pytest.approx(one.eur, rel=1e-9, abs=1e-9)
        assert (other.faults, other.ends_ms) == (one.faults, one.ends_ms)
    return len(orders)


@pytest.mark.parametrize("seed", first(SEEDS))
def test_single_moves_cost_what_the_scheduler_says(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=6, lines=1 + seed % 3))
    order = account(problem, drawn_order(problem, seed), Weights()).order
    assert assert_alike(problem, order) > 4


@pytest.mark.parametrize("seed", first(SEEDS))
def test_faults_are_counted_alike_under_locks_and_behind_started_runs(seed: int) -> None:
    assert_alike(*locked_day(seed))


def test_some_of_those_moves_break_locks_and_some_keep_them() -> None:
    faults = set()
    for seed in SEEDS:
        problem, order = locked_day(seed)
        moves = every_single_move(problem, order, Weights())
        faults |= {len(sequence.broken_locks) for *_, sequence in moves}
    assert len(faults) > 2


@pytest.mark.parametrize("seed", first(range(4)))
def test_lots_are_costed_as_the_scheduler_does(seed: int) -> None:
    problem = drawn_day(seed, DayShape(jobs=4, lines=2, splits=True))
    assert_alike(problem, account(problem, drawn_lots(problem, seed), Weights()).order)


def test_a_run_that_is_left_out_has_no_end() -> None:
    for seed in range(30):
        problem = drawn_day(seed, DayShape(jobs=8, lines=2))
        order = drawn_order(problem, seed)
        placed = account(problem, order, Weights()).order
        if placed == order:
            continue
        (outcome,) = DecodedCosting(problem, Weights(), order).outcomes([order])
        missing = sum(map(len, order)) - sum(map(len, placed))
        assert outcome.faults == missing
        assert sum(end_ms is None for ends_ms in outcome.ends_ms for end_ms in ends_ms) == missing
        return
    raise AssertionError("no drawn order leaves a run out")


def test_reasons_are_the_same_whoever_costs() -> None:
    problem, order = locked_day(3)
    scheduler = Scheduler(problem, Weights())
    told = explain(scheduler, order, DecodedCosting(problem, Weights(), order))
    assert told.extent is Extent.ALL
    assert told == explain(scheduler, order)
