"""Tours: changes of a ring, their undoing, and costs that stay true."""

from __future__ import annotations

import numpy as np
import pytest

from solver.search.islands import no_halt
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tour import (
    BEST,
    LOGGED,
    NOW,
    Arcs,
    Tour,
    begin,
    empty_tour,
    exchange,
    judge,
    kick,
    search_tour,
    swap,
    tour_cost,
)

PLACES = 17


def _drawn(seed: int, near: int = 6) -> tuple[Arcs, Tour]:
    random = np.random.default_rng(seed)
    cost = random.integers(0, 50, (PLACES, PLACES)).astype(float)
    np.fill_diagonal(cost, 1e6)
    arcs = Arcs(
        cost,
        np.ascontiguousarray(np.argsort(cost, axis=1)[:, :near]),
        np.ascontiguousarray(np.argsort(cost.T, axis=1)[:, :near]),
    )
    tour = empty_tour(PLACES, seeded(seed))
    begin(arcs, tour, random.permutation(PLACES))
    return arcs, tour


def _drawn_segments(random: np.random.Generator) -> tuple[int, int, int]:
    """First position and lengths of two adjacent segments."""
    return int(random.integers(PLACES)), int(random.integers(1, 8)), int(random.integers(1, 8))


def _from_0(order: list[int]) -> list[int]:
    first = order.index(0)
    return order[first:] + order[:first]


def _assert_inverse(tour: Tour) -> None:
    assert sorted(tour.order.tolist()) == list(range(PLACES))
    assert tour.order[tour.position].tolist() == list(range(PLACES))


def test_any_two_adjacent_segments_are_exchanged_wherever_they_lie_in_the_ring() -> None:
    _, tour = _drawn(1)
    random = np.random.default_rng(2)
    for _ in range(500):
        first, left, right = _drawn_segments(random)
        rolled = np.roll(tour.order, -first).tolist()
        expected = rolled[left : left + right] + rolled[:left] + rolled[left + right :]
        exchange(tour, first, left, right)
        assert _from_0(tour.order.tolist()) == _from_0(expected)
        _assert_inverse(tour)


def test_a_swap_is_undone_by_the_swap_back() -> None:
    _, tour = _drawn(3)
    random = np.random.default_rng(4)
    for _ in range(200):
        before = tour.order.copy()
        first, left, right = _drawn_segments(random)
        swap(tour.order, tour.position, tour.buffer, first, left, right)
        swap(tour.order, tour.position, tour.buffer, first, right, left)
        np.testing.assert_array_equal(tour.order, before)
        _assert_inverse(tour)


@pytest.mark.parametrize("longest", [1, 2, 5])
def test_a_kick_is_costed_and_one_that_is_not_kept_is_undone(longest: int) -> None:
    arcs, tour = _drawn(5)
    judge(tour, 0.0)
    undone = 0
    for _ in range(200):
        before = tour.order.copy()
        cost = tour.costs[NOW]
        kick(arcs.cost, tour, longest)
        assert tour.costs[NOW] == tour_cost(arcs.cost, tour.order)
        assert tour.counts[LOGGED] == 2
        dearer = tour.costs[NOW] > cost
        judge(tour, 0.0)
        assert tour.costs[NOW] == tour_cost(arcs.cost, tour.order) <= cost
        _assert_inverse(tour)
        if dearer:
            np.testing.assert_array_equal(tour.order, before)
            undone += 1
    assert undone > 50


@pytest.mark.parametrize("allowance", [0.0, 3.0])
def test_costs_stay_true_however_the_work_is_cut_up(allowance: float) -> None:
    arcs, tour = _drawn(6)
    _, again = _drawn(6)
    for work in (500, 84, 85, 3000, 20_000):
        did = search_tour(arcs, tour, 4, allowance, 0.5, work, no_halt())
        assert did == work
        assert tour.costs[NOW] == tour_cost(arcs.cost, tour.order)
        assert tour.costs[BEST] == tour_cost(arcs.cost, tour.best)
        _assert_inverse(tour)
    search_tour(arcs, again, 4, allowance, 0.5, 30_000, no_halt())
    assert again.costs[BEST] <= tour.costs[BEST]


def test_a_raised_halt_flag_ends_the_search_at_once() -> None:
    arcs, tour = _drawn(7)
    assert search_tour(arcs, tour, 4, 0.0, 0.5, 10**9, np.ones(1, dtype=np.uint8)) == 0
