"""The bound of a line with every feature: no order of all jobs undercuts it, part by part."""

from __future__ import annotations

import random

import numpy as np
import pytest

from solver.search.compile import compiled_line
from solver.search.decode import INCOMING_UM, OUTGOING_UM, SETUP_MS, Decoder
from solver.search.line_bound import least_costs
from solver.search.setup_bound import setup_bound
from solver.search.solve import solve
from solver.search.stop import Stop
from solver.weights import GOALS, Weights
from tests.builders.days import one_line_day, scarce_line_day, with_scarce_cylinders
from tests.builders.decoded import drawn_numbers

ORDERS = 60
DAYS = {"scarce": scarce_line_day, "ample": one_line_day}


@pytest.mark.parametrize("goal", sorted(GOALS))
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("day", DAYS)
def test_no_drawn_order_undercuts_it(day: str, seed: int, goal: str) -> None:
    compiled = compiled_line(with_scarce_cylinders(DAYS[day](seed, 14)), GOALS[goal])
    costs = least_costs(compiled)
    assert costs is not None
    bound = costs.fixed + setup_bound(costs.lengths).value
    assert bound > costs.fixed > 0
    decoder, rng = Decoder(compiled), random.Random(seed)
    for _ in range(ORDERS):
        decoded = decoder.decode(drawn_numbers(compiled, rng))
        if not decoded.left_out:
            assert decoded.eur >= bound * (1 - 1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_no_changeover_of_a_drawn_order_undercuts_its_own(seed: int) -> None:
    """Pair by pair: a bound of the whole may hold although one of its parts does not."""
    compiled = compiled_line(one_line_day(seed, 14), Weights())
    costs = least_costs(compiled)
    assert costs is not None
    jobs = np.flatnonzero(compiled.job_plans[:, 1] > compiled.job_plans[:, 0])
    place = {job: idx for idx, job in enumerate(jobs)}
    decoder, rng = Decoder(compiled), random.Random(seed)
    rows, web = compiled.tables.plans, compiled.web
    for _ in range(ORDERS):
        numbers = drawn_numbers(compiled, rng)
        trace = decoder.decode(numbers).trace
        for at in range(1, len(numbers)):
            before, after = (web.price_stocks[rows["shape"][numbers[idx]]] for idx in (at - 1, at))
            eur = trace[at, SETUP_MS] * float(web.path[0]["ms_eur"])
            eur += trace[at, OUTGOING_UM] * web.um_eur[before] + trace[at, INCOMING_UM] * web.um_eur[after]
            pair = place[rows["item"][numbers[at - 1]]], place[rows["item"][numbers[at]]]
            assert eur >= costs.lengths[pair] * (1 - 1e-9)


def test_a_bound_is_a_fair_part_of_what_a_day_costs() -> None:
    result = solve(one_line_day(1, 40), Weights(), Stop(work=40_000), 0)
    assert result.bound is not None
    assert result.gap is not None
    assert 0 < result.gap < 0.5
    assert float(result.sequences[0].weighed_eur) == pytest.approx(float(result.bound) * (1 + result.gap))


def test_a_plan_that_leaves_jobs_out_has_no_bound() -> None:
    """An order without a job may cost less than all orders that have it."""
    seeds = (seed for seed in range(60))
    for seed in seeds:
        result = solve(scarce_line_day(seed, 8), Weights(), Stop(work=50), 0)
        if result.sequences[0].left_out:
            assert result.bound is None
            return
    pytest.fail("no day leaves a job out")


def test_too_many_choices_of_stations_are_not_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("solver.search.line_bound.MOST_PLANS", 3)
    assert least_costs(compiled_line(one_line_day(1, 8), Weights())) is None
