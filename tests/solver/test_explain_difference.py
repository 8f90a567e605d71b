"""The difference of two sequences by cause adds up to the difference of their totals, exactly."""

from __future__ import annotations

from fractions import Fraction

import pytest

from solver.account import account
from solver.explain_difference import Amount, Cause, CostItem, cost_items, difference
from solver.measures import measure
from solver.sequence import Sequence
from solver.weights import GOALS, Weights
from tests.builders.days import DayShape, drawn_day, drawn_lots, drawn_order
from tests.examples import first

GOAL_OF_SEED = dict(enumerate([*GOALS] * 4))


@pytest.mark.parametrize("seed", GOAL_OF_SEED)
def test_what_a_sequence_costs_by_item_adds_up_to_its_cost(seed: int) -> None:
    problem, weights = drawn_day(seed, DayShape(jobs=9, lines=2)), GOALS[GOAL_OF_SEED[seed]]
    sequence = account(problem, drawn_order(problem, seed), weights)
    items = cost_items(problem, sequence, weights)
    assert sum((amount.eur for amount in items.values()), Fraction(0)) == sequence.cost.total_eur
    assert sum((amount.weighed_eur for amount in items.values()), Fraction(0)) == sequence.weighed_eur
    by_cause = {cause: Fraction(0) for cause in Cause}
    for item, amount in items.items():
        by_cause[item.cause] += amount.eur
    assert by_cause[Cause.WASTE] == sequence.cost.waste_eur
    assert by_cause[Cause.WAITING] == sequence.cost.waiting_eur
    assert by_cause[Cause.RUNNING] == sequence.cost.running_eur
    assert by_cause[Cause.LATE] == sequence.cost.late_eur


@pytest.mark.parametrize("seed", GOAL_OF_SEED)
def test_a_difference_adds_up_and_its_biggest_part_is_first(seed: int) -> None:
    problem, weights = drawn_day(seed, DayShape(jobs=9, lines=2)), GOALS[GOAL_OF_SEED[seed]]
    here, there = (account(problem, drawn_order(problem, seed + other), weights) for other in (0, 100))
    told = difference(problem, here, there, weights)
    plain, controllable, weighed = Fraction(0), Fraction(0), Fraction(0)
    for item, amount in told.parts:
        plain += amount.eur
        weighed += amount.weighed_eur
        controllable += 0 if item.cause is Cause.RUNNING else amount.eur
    assert plain == told.total_eur == here.cost.total_eur - there.cost.total_eur
    assert controllable == told.controllable_eur
    assert weighed == told.weighed_eur == here.weighed_eur - there.weighed_eur
    sizes = [abs(amount.eur) for _, amount in told.parts]
    assert sizes == sorted(sizes, reverse=True)


@pytest.mark.parametrize("seed", first(range(12)))
def test_lots_and_joined_runs_add_up_too(seed: int) -> None:
    problem, weights = drawn_day(seed, DayShape(jobs=6, lines=2, splits=True)), GOALS["on-time-first"]
    here, there = (account(problem, drawn_lots(problem, seed + other), weights) for other in (0, 100))
    told = difference(problem, here, there, weights)
    assert sum((amount.eur for _, amount in told.parts), Fraction(0)) == told.total_eur
    assert sum((amount.weighed_eur for _, amount in told.parts), Fraction(0)) == told.weighed_eur
    late_ms = sum(amount.amount for item, amount in told.parts if item.cause is Cause.LATE)
    late_now_ms, late_then_ms = (measure(problem, one, weights).lateness_ms for one in (here, there))
    assert late_ms == late_now_ms - late_then_ms


def test_a_joined_run_has_no_change_of_job() -> None:
    counts = set()
    for seed in range(12):
        problem = drawn_day(seed, DayShape(jobs=6, lines=2, splits=True))
        sequence = account(problem, drawn_lots(problem, seed), Weights())
        items = cost_items(problem, sequence, Weights())
        for line, solver_line in zip(sequence.lines, problem.plant.lines, strict=True):
            changed = [run for run in line.runs if run.changeover and not run.changeover.joined]
            spent_ms = items.get(CostItem(Cause.JOB_CHANGE, line.line), Amount()).amount
            assert spent_ms == len(changed) * solver_line.job_change_ms
            counts.add(len(line.runs) - len(changed) > 0)
    assert counts == {True, False}


def test_the_other_way_round_every_part_has_the_other_sign() -> None:
    problem = drawn_day(3, DayShape(jobs=9, lines=2))
    one, other = (account(problem, drawn_order(problem, seed), Weights()) for seed in (1, 2))
    there, back = (dict(difference(problem, *pair, Weights()).parts) for pair in ((one, other), (other, one)))
    assert there.keys() == back.keys()
    assert there
    assert all(there[item].eur == -back[item].eur for item in there)


def test_a_sequence_does_not_differ_from_itself() -> None:
    problem = drawn_day(3, DayShape(jobs=9, lines=2))
    sequence = account(problem, drawn_order(problem, 1), Weights())
    told = difference(problem, sequence, sequence, Weights())
    assert not told.parts
    assert {told.total_eur, told.controllable_eur, told.weighed_eur} == {Fraction(0)}
    assert not told.only_here
    assert not told.only_there


def test_jobs_that_only_one_of_them_runs_are_named() -> None:
    problem = drawn_day(3, DayShape(jobs=9, lines=2))
    whole = account(problem, drawn_order(problem, 1), Weights())
    shorter = account(problem, (whole.order[0][:-1], whole.order[1]), Weights())
    last = whole.lines[0].runs[-1].job
    assert difference(problem, whole, shorter, Weights()).only_here == (last,)
    assert difference(problem, shorter, whole, Weights()).only_there == (last,)


def stations_of(sequence: Sequence) -> set[tuple[str, str]]:
    return {
        (line.line, task.station)
        for line in sequence.lines
        for run in line.runs
        if run.changeover
        for stop in run.changeover.stops
        for task in stop.tasks
    }


def test_make_ready_is_told_by_station_and_takes_the_stops_time_with_several_hands() -> None:
    for seed in range(20):
        problem = drawn_day(seed, DayShape(jobs=9, lines=2))
        sequence = account(problem, drawn_order(problem, seed), Weights())
        items = cost_items(problem, sequence, Weights())
        told = {(item.line, item.station) for item in items if item.cause is Cause.MAKE_READY}
        assert told == stations_of(sequence)
        spent_ms = sum(
            (
                amount.amount
                for item, amount in items.items()
                if item.cause in (Cause.MAKE_READY, Cause.STOPS)
            ),
            Fraction(0),
        )
        stops = [stop for run in sequence.runs if run.changeover for stop in run.changeover.stops]
        assert spent_ms == sum((stop.duration_ms for stop in stops), Fraction(0))
