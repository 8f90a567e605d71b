"""The kernel that places an order in time says what the account says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.locks import FixedStart, Started
from solver.problem import Problem
from solver.search.compile import compiled_line
from solver.search.decode import Decoder
from solver.weights import GOALS, Weights
from tests.builders.days import (
    MIN_MS,
    DayShape,
    drawn_day,
    on_one_line,
    one_line_day,
    with_scarce_cylinders,
)
from tests.builders.decoded import assert_decoded_as_accounted
from tests.examples import examples, first

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))


@examples(80)
@given(SEEDS, GOAL_NAMES)
def test_drawn_orders_come_out_as_in_the_account(seed: int, goal: str) -> None:
    problem = on_one_line(drawn_day(seed, DayShape(jobs=12, lines=2)), seed % 2)
    assert_decoded_as_accounted(problem, GOALS[goal], seed)


@examples(80)
@given(SEEDS, GOAL_NAMES)
def test_so_do_those_whose_stations_take_cylinders_from_each_other(seed: int, goal: str) -> None:
    problem = with_scarce_cylinders(on_one_line(drawn_day(seed, DayShape(jobs=12, lines=1)), 0))
    assert_decoded_as_accounted(problem, GOALS[goal], seed)


@examples(40)
@given(SEEDS)
def test_so_do_those_behind_a_started_run_and_with_fixed_starts(seed: int) -> None:
    problem = on_one_line(drawn_day(seed, DayShape(jobs=9, lines=1)), 0)
    if len(problem.jobs) < 3:
        return
    line = problem.plant.lines[0]
    locks = (
        Started(problem.jobs[0].id, line.id, -20 * MIN_MS, -5 * MIN_MS, 30 * MIN_MS),
        FixedStart(problem.jobs[1].id, 300 * MIN_MS),
    )
    assert_decoded_as_accounted(Problem(problem.plant, problem.jobs, locks), Weights(), seed)


@pytest.mark.parametrize("jobs", first([60, 200]))
def test_so_does_a_long_queue_with_every_feature(jobs: int) -> None:
    assert_decoded_as_accounted(one_line_day(5, jobs), Weights(), jobs, orders=2)


def test_every_feature_is_on_in_the_long_queue() -> None:
    compiled = compiled_line(one_line_day(5, 60), Weights())
    line = compiled.problem.plant.lines[0]
    decoder = Decoder(compiled)
    trace = decoder.decode(compiled.job_plans[:, 0].copy()).trace
    cases = decoder.room.changeovers.cases
    assert compiled.slots.scarce
    assert len(compiled.tables.closures) > 0
    assert len(compiled.tables.stocks) > 1
    assert (trace[:, 6] > 0).any()
    assert (cases["guarded"] > 0).any()
    assert line.restart_um + line.pull_back_um > 0
    assert any(job.ready_ms > 0 for job in compiled.problem.jobs)
    assert any(job.low_migration for job in compiled.problem.jobs)


def test_a_goal_whose_prices_are_too_fine_for_whole_numbers_still_costs_right() -> None:
    problem = on_one_line(drawn_day(4, DayShape(jobs=12, lines=1)), 0)
    odd = replace(Weights(), waste=1 / (10**9 + 7 + Weights().waste), late=Weights().late / (10**12 + 39))
    assert_decoded_as_accounted(problem, odd, 4)


def test_room_for_changeovers_grows_when_it_is_used_up() -> None:
    compiled = compiled_line(one_line_day(5, 200), Weights())
    decoder = Decoder(compiled)
    rng = np.random.default_rng(1)
    numbers = compiled.job_plans[:, 0].copy()
    before = len(decoder.room.changeovers.guarded)
    for _ in range(60):
        rng.shuffle(numbers)
        decoder.decode(numbers)
    assert len(decoder.room.changeovers.guarded) > before
    again = Decoder(compiled).decode(numbers)
    assert decoder.decode(numbers).eur == pytest.approx(again.eur, rel=1e-12)
