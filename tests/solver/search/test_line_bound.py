"""What is certain of a line's changeovers: none that is placed undercuts it, pair by pair."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from solver.locks import Started
from solver.problem import Problem
from solver.search.compile import CompiledLine, compiled_line
from solver.search.decode import INCOMING_UM, OUTGOING_UM, SETUP_MS, Decoder
from solver.search.kernels.tables import Floats, Ints
from solver.search.line_bound import certain_changeovers, line_least, through_closures_ms
from solver.weights import GOALS, Weights
from tests.builders.days import (
    MIN_MS,
    DayShape,
    drawn_day,
    on_one_line,
    one_line_day,
    scarce_line_day,
    with_scarce_cylinders,
)
from tests.builders.decoded import drawn_numbers
from tests.examples import first

ORDERS = 60


def _with_lots(compiled: CompiledLine, rng: random.Random) -> Ints:
    """Every job at drawn stations in a drawn order, most of those that may be split in two lots."""
    plant, numbers = compiled.plant, drawn_numbers(compiled, rng).tolist()
    for job_idx, cuts in plant.splittable.items():
        first, last = compiled.job_plans[job_idx].tolist()
        if first == last or rng.random() < 0.3:
            continue
        at = next(at for at, number in enumerate(numbers) if first <= number < last)
        cut = 1 + rng.randrange(len(cuts))
        lots = [
            rng.randrange(*compiled.item_plans[item, cut]) for item in (job_idx, plant.second_lot(job_idx))
        ]
        numbers[at] = lots[0]
        numbers.insert(at + 1 if rng.random() < 0.5 else rng.randrange(len(numbers) + 1), lots[1])
    return np.array(numbers, np.int64)


def _changeover_eur(compiled: CompiledLine, numbers: Ints, trace: Ints) -> Floats:
    """What every changeover but the first costs."""
    web = compiled.web
    price_eur = web.um_eur[web.price_stocks[compiled.tables.plans["shape"][numbers]]]
    wasted_eur: Floats = trace[1:, OUTGOING_UM] * price_eur[:-1] + trace[1:, INCOMING_UM] * price_eur[1:]
    return np.asarray(wasted_eur + trace[1:, SETUP_MS] * float(web.path[0]["ms_eur"]), np.float64)


def _assert_none_undercuts(compiled: CompiledLine, numbers: Ints) -> int:
    """Compare pair by pair; how many runs were joined."""
    decoded = Decoder(compiled).decode(numbers)
    if decoded.left_out:
        return 0
    certain = certain_changeovers(compiled, numbers, numbers)
    at = np.arange(len(numbers) - 1)
    eur = _changeover_eur(compiled, numbers, decoded.trace)
    assert (eur >= certain.eur[at, at + 1] * (1 - 1e-9)).all()
    assert (decoded.trace[1:, SETUP_MS] >= certain.ms[at, at + 1]).all()
    return int((decoded.trace[1:, SETUP_MS] == 0).sum())


@pytest.mark.parametrize("seed", first(range(6)))
@pytest.mark.parametrize("goal", sorted(GOALS))
def test_no_changeover_of_a_drawn_order_undercuts_what_is_certain_of_it(seed: int, goal: str) -> None:
    """Pair by pair: a bound of the whole may hold although one of its parts does not."""
    for day in (one_line_day(seed, 14), with_scarce_cylinders(scarce_line_day(seed, 10))):
        compiled, rng = compiled_line(day, GOALS[goal]), random.Random(seed)
        for _ in range(ORDERS // 4):
            _assert_none_undercuts(compiled, drawn_numbers(compiled, rng))


def test_so_it_is_of_lots_and_joined_runs() -> None:
    joined = 0
    for seed in first(range(12)):
        shape = DayShape(jobs=12, lines=1, closures=False, limited_stock=False, layers=1, splits=True)
        day = on_one_line(drawn_day(seed, shape), 0)
        ready = Problem(day.plant, tuple(replace(job, ready_ms=0) for job in day.jobs))
        compiled, rng = compiled_line(ready, Weights()), random.Random(seed)
        for _ in range(ORDERS // 6):
            joined += _assert_none_undercuts(compiled, _with_lots(compiled, rng))
    assert joined > 20


def test_most_of_what_changeovers_cost_is_certain() -> None:
    """And of some all of it: where it never is, the bound has forgotten something."""
    whole, certain_eur, cost_eur = 0, 0.0, 0.0
    for seed in first(range(6)):
        compiled, rng = compiled_line(one_line_day(seed, 14), Weights()), random.Random(seed)
        for _ in range(10):
            numbers = drawn_numbers(compiled, rng)
            trace = Decoder(compiled).decode(numbers).trace
            certain = certain_changeovers(compiled, numbers, numbers)
            at = np.arange(len(numbers) - 1)
            eur = _changeover_eur(compiled, numbers, trace)
            whole += int((eur <= certain.eur[at, at + 1] * (1 + 1e-9)).sum())
            certain_eur, cost_eur = certain_eur + certain.eur[at, at + 1].sum(), cost_eur + eur.sum()
    assert whole > 20
    assert certain_eur > 0.75 * cost_eur


def test_the_register_of_the_splice_table_is_no_part_of_the_strip() -> None:
    """It sets nothing on the web but the splice."""
    day = one_line_day(2, 8)
    line = day.plant.lines[0]
    table = replace(
        line.stations[0],
        aspects=tuple(replace(each, register_um=10**9) for each in line.stations[0].aspects),
    )
    plant = replace(day.plant, lines=(replace(line, stations=(table, *line.stations[1:])),))
    compiled = compiled_line(Problem(plant, day.jobs), Weights())
    for seed in range(10):
        _assert_none_undercuts(compiled, drawn_numbers(compiled, random.Random(seed)))


def test_a_job_that_may_join_a_started_run_costs_no_changeover() -> None:
    day = drawn_day(3, DayShape(jobs=1, lines=1, closures=False, limited_stock=False, layers=1))
    job = replace(day.jobs[0], ready_ms=0, may_join=True, least_lot=None)
    running = replace(job, id="running")
    lock = Started("running", day.plant.lines[0].id, -MIN_MS, 0, 30 * MIN_MS)
    compiled = compiled_line(Problem(day.plant, (job, running), (lock,)), Weights())
    least = line_least(compiled)
    assert least is not None
    assert least.first_eur.tolist() == least.run_eur.tolist()
    other = compiled_line(Problem(day.plant, (replace(job, may_join=False), running), (lock,)), Weights())
    apart = line_least(other)
    assert apart is not None
    assert apart.first_eur[0] > apart.run_eur[0]


def test_work_goes_on_behind_closures() -> None:
    closures = np.array([[10, 20], [30, 35]], np.int64)
    begins, open_ms = np.array([0, 0, 0, 12, 25, 40.0]), np.array([10, 11, 21, 3, 0, 5.0])
    assert through_closures_ms(closures, begins, open_ms).tolist() == [10, 21, 36, 23, 25, 45]


def test_too_many_choices_of_stations_are_not_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("solver.search.line_bound.MOST_PLANS", 3)
    assert line_least(compiled_line(one_line_day(1, 8), Weights())) is None


def test_a_short_order_is_traced_the_first_time_too() -> None:
    compiled = compiled_line(one_line_day(1, 8), Weights())
    first = compiled.job_plans[:1, 0]
    decoder = Decoder(compiled)
    assert decoder.decode(first).trace.any()
    assert (decoder.decode(first).trace == Decoder(compiled).decode(first).trace).all()


@pytest.mark.parametrize("seed", first(range(1, 4)))
def test_without_looking_at_splits_less_is_certain(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    compiled = compiled_line(one_line_day(seed, 14), Weights())
    plans = np.arange(len(compiled.plans))
    known = certain_changeovers(compiled, plans, plans)
    monkeypatch.setattr("solver.search.line_bound.MOST_SPLITS", 0)
    less = certain_changeovers(compiled, plans, plans)
    assert (less.eur <= known.eur * (1 + 1e-9)).all()
    assert (less.ms <= known.ms).all()
    assert (less.eur < known.eur * (1 - 1e-3)).any()
