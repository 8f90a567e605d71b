"""The bound of round trips: never above the least one, near it, and valid wherever it ends."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count, pairwise, permutations

import numpy as np
import pytest

from solver.search.components import strong_components
from solver.search.kernels.tables import Floats
from solver.search.matrix import MatrixProblem, order_matrix
from solver.search.setup_bound import setup_bound
from solver.search.stop import Stop
from tests.published import br17
from tests.solver.search.exact_orders import drawn_problem, least_setup

TOLERANCE = 1e-6


def drawn(seed: int, places: int) -> Floats:
    return np.random.default_rng(seed).integers(0, 60, (places, places)).astype(np.float64)


def least_round_trip(lengths: Floats) -> float:
    places = range(1, len(lengths))
    trips = ((0, *order, 0) for order in permutations(places))
    return min(float(sum(lengths[a, b] for a, b in pairwise(trip))) for trip in trips)


def ended_after(steps: int) -> Callable[[], bool]:
    step = count()
    return lambda: next(step) >= steps


@pytest.mark.parametrize("seed", range(12))
def test_no_round_trip_undercuts_it_and_the_least_is_near(seed: int) -> None:
    lengths = drawn(seed, 3 + seed % 6)
    bound, least = setup_bound(lengths), least_round_trip(lengths)
    assert bound.finished
    assert 0.85 * least <= bound.value <= least + TOLERANCE


@pytest.mark.parametrize("places", [1, 2])
def test_one_or_two_places_have_one_round_trip(places: int) -> None:
    lengths = drawn(1, places)
    np.fill_diagonal(lengths, 7.0)
    assert setup_bound(lengths).value == (7.0 if places == 1 else lengths[0, 1] + lengths[1, 0])


def test_it_holds_wherever_it_ends() -> None:
    lengths = drawn(5, 40)
    whole = setup_bound(lengths)
    ends = [setup_bound(lengths, ended_after(steps)) for steps in range(1, 12)]
    assert setup_bound(lengths, ended_after(0)).value == 0.0
    assert not ends[0].finished
    assert all(bound.value <= whole.value + TOLERANCE for bound in ends)
    assert any(bound.value > 0 for bound in ends)


def test_arcs_left_out_at_first_come_in_where_they_pay() -> None:
    """A place is near to many that others need more: the least trip uses none of its nearest."""
    lengths = np.full((30, 30), 50.0)
    lengths[:, :9] = 1.0
    lengths[:9, :] += 1.0
    ring = np.roll(np.arange(30), -1)
    lengths[np.arange(30), ring] = 2.0
    assert setup_bound(lengths).value <= least_by_search(lengths) + TOLERANCE


def least_by_search(lengths: Floats) -> float:
    return float(order_matrix(MatrixProblem(lengths, closed=True), Stop(work=2_000_000)).value)


def test_two_clusters_need_a_cut() -> None:
    near, far = 1.0, 100.0
    clusters = np.arange(6) // 3
    bound = setup_bound(np.where(clusters[:, None] == clusters[None, :], near, far))
    assert bound.value == pytest.approx(4 * near + 2 * far)
    assert bound.cuts >= 1


@pytest.mark.parametrize(("closed", "optimum"), [(True, 39), (False, 25)])
def test_br17_is_proved(closed: bool, optimum: int) -> None:
    """TSPLIB's br17: its published optimum 39; 25 as an open path, from the dynamic programme."""
    setup = [[0 if entry is None else entry for entry in row] for row in br17.MATRIX]
    result = order_matrix(MatrixProblem(setup, closed=closed), Stop(work=10_000_000))
    assert (result.value, result.bound, result.is_proved) == (optimum, optimum, True)
    assert result.work < 10_000_000


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("shape", ["open", "closed"])
def test_a_gap_of_the_matrix_entry_holds(shape: str, seed: int) -> None:
    problem = drawn_problem(seed, 11, closed=shape == "closed")
    result = order_matrix(problem, Stop(work=300_000), seed)
    optimum = least_setup(problem)
    assert result.bound is not None
    assert result.gap is not None
    assert result.bound <= optimum <= result.value
    assert result.value <= result.bound * (1 + result.gap) + TOLERANCE


def test_lateness_is_bounded_by_nothing_late() -> None:
    result = order_matrix(drawn_problem(3, 9, due=True), Stop(work=100_000))
    assert result.bound == 0
    assert result.gap is None or result.is_proved


@pytest.mark.parametrize("seed", range(5))
def test_places_of_a_component_reach_each_other_and_no_others(seed: int) -> None:
    random = np.random.default_rng(seed)
    nodes = 9
    arcs = random.integers(0, nodes, (12, 2))
    reach = np.eye(nodes, dtype=bool)
    reach[arcs[:, 0], arcs[:, 1]] = True
    for middle in range(nodes):
        reach |= reach[:, [middle]] & reach[[middle], :]
    expected = {tuple(np.flatnonzero(reach[node] & reach[:, node])) for node in range(nodes)}
    assert {tuple(sorted(each)) for each in strong_components(arcs, nodes)} == expected
