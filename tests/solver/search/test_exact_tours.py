"""Round trips by constraint solver: against dynamic programming, on lengths whole and not, told to end."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from solver.search.exact_tours import cheaper_tour, open_arcs
from solver.search.kernels.tables import Floats, Ints
from solver.search.proving import NONE_CHEAPER, UNCERTAIN
from solver.search.setup_bound import SetupBound, setup_bound
from tests.published import br17
from tests.solver.search.exact_orders import drawn_problem, least_setup

EFFORT = 5.0
BR17 = np.array([[0 if entry is None else entry for entry in row] for row in br17.MATRIX], np.float64)


def _go_on() -> bool:
    return False


def _drawn(seed: int, places: int) -> tuple[Floats, int]:
    """Lengths and the least round trip."""
    problem = drawn_problem(seed, places, closed=True)
    return problem.arrays.setup.astype(np.float64), least_setup(problem)


def _nothing_known(lengths: Floats) -> SetupBound:
    return SetupBound(0.0, 0, False, np.zeros(lengths.shape))


def _cost(lengths: Floats, order: Ints) -> float:
    return float(sum(lengths[pair] for pair in pairwise([*order, order[0]])))


@pytest.mark.parametrize("scale", [1.0, 0.1137, np.pi / 3])
@pytest.mark.parametrize("seed", range(4))
def test_the_least_round_trip_is_found_and_none_below_it(seed: int, scale: float) -> None:
    lengths, least = _drawn(seed, 9)
    lengths *= scale
    order = np.arange(9)
    for relaxed in (setup_bound(lengths), _nothing_known(lengths)):
        answer = cheaper_tour(lengths, relaxed, _cost(lengths, order) + 1, order, EFFORT, _go_on)
        assert answer.is_certain
        assert answer.order is not None
        assert sorted(answer.order) == list(range(9))
        assert _cost(lengths, answer.order) == pytest.approx(answer.cost) == pytest.approx(least * scale)
        below = least * scale * (1 - 1e-9)
        assert cheaper_tour(lengths, relaxed, below, answer.order, EFFORT, _go_on) == NONE_CHEAPER


@pytest.mark.parametrize("seed", range(3))
def test_lengths_without_a_common_unit_are_told_apart(seed: int) -> None:
    """Two round trips that differ in the tenth digit are not the same."""
    lengths, _ = _drawn(seed, 8)
    lengths += np.random.default_rng(seed).random(lengths.shape)
    best = cheaper_tour(lengths, _nothing_known(lengths), 1e6, np.arange(8), EFFORT, _go_on)
    assert best.order is not None
    lengths[best.order[0], best.order[1]] += 1e-8 * best.cost
    again = cheaper_tour(lengths, _nothing_known(lengths), best.cost, best.order, EFFORT, _go_on)
    assert again == NONE_CHEAPER


def test_the_round_trip_of_br17_is_proved_to_take_39() -> None:
    order = np.arange(len(BR17))
    found = cheaper_tour(BR17, _nothing_known(BR17), _cost(BR17, order), order, EFFORT, _go_on)
    assert (found.cost, found.is_certain) == (39, True)
    assert found.order is not None
    assert cheaper_tour(BR17, setup_bound(BR17), 39, found.order, EFFORT, _go_on) == NONE_CHEAPER


@pytest.mark.parametrize("seed", range(6))
def test_no_arc_of_a_cheaper_round_trip_is_left_out(seed: int) -> None:
    """The least one's arcs stay open whatever more is asked for."""
    lengths, least = _drawn(seed, 10)
    best = cheaper_tour(lengths, _nothing_known(lengths), 1e6, np.arange(10), EFFORT, _go_on)
    assert best.order is not None
    for above in (0.5, 2.0, 10.0):
        left = {tuple(arc) for arc in open_arcs(lengths, setup_bound(lengths), least + above).tolist()}
        assert {(int(tail), int(head)) for tail, head in pairwise([*best.order, best.order[0]])} <= left


def test_without_effort_or_when_told_to_end_nothing_is_certain() -> None:
    lengths = np.random.default_rng(1).integers(10, 1000, (60, 60)).astype(np.float64)
    order = np.arange(60)
    relaxed = SetupBound(0.0, 0, False, np.zeros(lengths.shape))
    undercut = _cost(lengths, order)
    assert not cheaper_tour(lengths, relaxed, undercut, order, 1e-6, _go_on).is_certain
    assert not cheaper_tour(lengths, relaxed, 2_000, order, 1e9, lambda: True).is_certain


def test_with_too_many_arcs_it_is_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("solver.search.exact_tours.MOST_ARCS", 50)
    lengths, _ = _drawn(1, 9)
    assert cheaper_tour(lengths, _nothing_known(lengths), 1e6, np.arange(9), EFFORT, _go_on) == UNCERTAIN


def test_the_same_effort_gives_the_same_answer() -> None:
    lengths = np.random.default_rng(2).integers(1, 100, (25, 25)).astype(np.float64)
    order = np.arange(25)
    answers = [
        cheaper_tour(lengths, setup_bound(lengths), _cost(lengths, order), order, 0.02, _go_on)
        for _ in range(2)
    ]
    assert answers[0].cost == answers[1].cost
    assert np.array_equal(answers[0].order, answers[1].order)  # type: ignore[arg-type]
