"""Short queues of a line with every feature, exactly: against a walk through all orders."""

from __future__ import annotations

import random

import numpy as np
import pytest

from solver.locks import AtPosition
from solver.problem import Problem
from solver.search.compile import compiled_line
from solver.search.decode import Decoder
from solver.search.exact_line import LineProver
from solver.search.plant_search import plain_starts, search_plant
from solver.search.proving import NONE_CHEAPER
from solver.search.stop import Stop
from solver.weights import GOALS, Weights
from tests.builders.days import one_line_day, scarce_line_day
from tests.builders.decoded import drawn_numbers
from tests.examples import first
from tests.solver.search.least_order import least_order

DAYS = {"scarce": scarce_line_day, "ample": one_line_day}
EFFORT = 2.0


def _go_on() -> bool:
    return False


@pytest.mark.parametrize("goal", sorted(GOALS))
@pytest.mark.parametrize("seed", first(range(3)))
@pytest.mark.parametrize("day", DAYS)
def test_the_cheapest_order_is_found_and_none_below_it(day: str, seed: int, goal: str) -> None:
    compiled = compiled_line(DAYS[day](seed, 6), GOALS[goal])
    least = least_order(compiled)
    assert least.faults == 0
    prover = LineProver(compiled)
    assert prover.most_effort > 0
    assert prover.least() <= least.eur * (1 + 1e-9)
    found = prover.cheaper(least.eur * 1.5, least.numbers, EFFORT, _go_on)
    assert found.is_certain
    assert found.order is not None
    assert found.cost == pytest.approx(least.eur, rel=1e-9)
    assert prover.cheaper(least.eur * (1 - 1e-9), least.numbers, EFFORT, _go_on) == NONE_CHEAPER


def test_with_too_little_effort_or_told_to_end_nothing_is_certain() -> None:
    compiled = compiled_line(one_line_day(1, 8), Weights())
    prover = LineProver(compiled)
    order = plain_starts(compiled.plant)[0]
    assert not prover.cheaper(1e9, order, 0.001, _go_on).is_certain
    assert not prover.cheaper(1e9, order, EFFORT, lambda: True).is_certain


def test_longer_queues_and_those_with_locks_have_no_proofs() -> None:
    day = one_line_day(1, 8)
    locked = Problem(day.plant, day.jobs, (AtPosition(day.jobs[0].id, 2),))
    assert LineProver(compiled_line(locked, Weights())).most_effort == 0
    assert LineProver(compiled_line(one_line_day(1, 40), Weights())).most_effort == 0
    assert LineProver(compiled_line(day, Weights())).most_effort > 0


@pytest.mark.parametrize("seed", first([3, 2]))
def test_a_short_queue_is_proved_and_its_search_ends(seed: int) -> None:
    compiled = compiled_line(one_line_day(seed, 8), Weights())
    limit = 5_000_000
    found = [
        search_plant(compiled.plant, plain_starts(compiled.plant), Stop(work=limit), 0, each)
        for each in (1, 2)
    ]
    assert found[0].eur == pytest.approx(least_order(compiled).eur, rel=1e-9)
    assert found[0].bound_eur is not None
    assert found[0].bound_eur == pytest.approx(found[0].eur, rel=1e-8)
    assert found[0].bound_eur <= found[0].eur
    assert found[0].work < limit
    assert (found[0].order, found[0].work) == (found[1].order, found[1].work)


@pytest.mark.parametrize("seed", first(range(3)))
def test_no_drawn_order_undercuts_what_a_search_says_is_least(seed: int) -> None:
    compiled = compiled_line(scarce_line_day(seed, 9), Weights())
    found = search_plant(compiled.plant, plain_starts(compiled.plant), Stop(work=60_000), seed, 2)
    decoder, rng = Decoder(compiled), random.Random(seed)
    decoded = [decoder.decode(drawn_numbers(compiled, rng)) for _ in range(200)]
    least_eur = min((each.eur for each in decoded if not each.left_out), default=np.inf)
    if found.faults:
        assert found.bound_eur is None
    else:
        assert found.bound_eur is not None
        assert found.bound_eur <= min(least_eur, found.eur)
