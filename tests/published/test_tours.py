"""Set-ups alone: a queue is a travelling salesman's tour or path.

At 1 € a minute and weights for set-up minutes only, the weighed cost is the length of the tour.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations

import pytest

from solver.account import account
from solver.problem import Problem
from solver.sequence import Sequence
from tests.builders.textbook import (
    SETUP_MINUTES_ONLY,
    closed_tour_problem,
    in_order,
    job_ids,
    open_path_problem,
    setup_min,
)
from tests.published import br17
from tests.published.accounts import best_of, costed

SIX_CITIES = closed_tour_problem(
    (
        (None, 27, 43, 16, 30, 26),
        (7, None, 16, 1, 30, 25),
        (20, 13, None, 35, 5, 0),
        (21, 16, 25, None, 18, 18),
        (12, 46, 27, 48, None, 5),
        (23, 5, 5, 9, 5, None),
    )
)
"""Little, Murty, Sweeney and Karel, Operations Research 11 (1963), worked example; matrix from memory."""

NEEDED_STATES = (7, 16, 22, 18, 4, 45, 34)
LEFT_STATES = (1, 15, 26, 40, 3, 19, 31)
ONE_STATE = closed_tour_problem([[abs(needed - left) for needed in NEEDED_STATES] for left in LEFT_STATES])
"""Gilmore and Gomory, Operations Research 12 (1964); the 7 jobs also in Pinedo, Scheduling (Springer;
several editions), 4.4; data from memory, optimum by enumeration."""

ROUND_TRIP_17 = closed_tour_problem(br17.MATRIX)
OPEN_PATH_17 = open_path_problem(br17.MATRIX)


def _ordered(problem: Problem, cities: tuple[int | str, ...]) -> Sequence:
    return costed(problem, in_order(problem, map(str, cities)), SETUP_MINUTES_ONLY)


def _length(problem: Problem, cities: tuple[int | str, ...]) -> Fraction:
    """Of one of very many tours: its account is the one that the shortest have before the checker."""
    return setup_min(account(problem, in_order(problem, map(str, cities)), SETUP_MINUTES_ONLY))


def _best(problem: Problem) -> Sequence:
    return best_of(problem, SETUP_MINUTES_ONLY)


def _assert_minutes(sequence: Sequence, expected_min: int) -> None:
    assert setup_min(sequence) == expected_min
    assert sequence.weighed_eur == expected_min
    assert sequence.broken_locks == ()
    assert sequence.left_out == ()


def test_the_published_tour_of_six_cities_takes_63() -> None:
    _assert_minutes(_ordered(SIX_CITIES, (4, 3, 5, 6, 2, "back in 1")), 63)


def test_the_two_shortest_tours_of_six_cities_take_63_and_64() -> None:
    tours = sorted(
        (_length(SIX_CITIES, (*cities, "back in 1")), cities) for cities in permutations(range(2, 7))
    )
    for (length, cities), expected_min in zip(tours, (63, 64), strict=False):
        assert length == expected_min
        _assert_minutes(_ordered(SIX_CITIES, (*cities, "back in 1")), expected_min)


def test_the_optimiser_finds_the_tour_of_six_cities() -> None:
    best = _best(SIX_CITIES)
    _assert_minutes(best, 63)
    assert job_ids(best) == ("4", "3", "5", "6", "2", "back in 1")


def test_the_published_tour_of_one_state_takes_57() -> None:
    _assert_minutes(_ordered(ONE_STATE, (5, 4, 6, 3, 7, 2, "back in 1")), 57)


def test_no_tour_of_one_state_is_shorter_than_57() -> None:
    lengths = (_length(ONE_STATE, (*cities, "back in 1")) for cities in permutations(range(2, 8)))
    assert min(lengths) == 57


def test_the_optimiser_finds_the_tour_of_one_state() -> None:
    _assert_minutes(_best(ONE_STATE), 57)


def test_an_optimal_tour_of_br17_takes_39() -> None:
    tour = (12, 17, 9, 8, 5, 4, 16, 15, 7, 6, 13, 11, 10, 2, 14, 3, "back in 1")
    _assert_minutes(_ordered(ROUND_TRIP_17, tour), 39)


def test_an_optimal_open_path_of_br17_takes_25() -> None:
    """Verified by exact dynamic programming; a press does not return to its first job."""
    path = (5, 4, 16, 15, 7, 6, 17, 9, 8, 12, 1, 13, 11, 10, 2, 14, 3)
    _assert_minutes(_ordered(OPEN_PATH_17, path), 25)


@pytest.mark.parametrize("seed", [0, 1])
def test_the_optimiser_finds_the_tour_of_br17(seed: int) -> None:
    best = best_of(ROUND_TRIP_17, SETUP_MINUTES_ONLY, seed=seed)
    _assert_minutes(best, 39)
    assert job_ids(best)[-1] == "back in 1"


@pytest.mark.parametrize("seed", [0, 1])
def test_the_optimiser_finds_the_open_path_of_br17(seed: int) -> None:
    _assert_minutes(best_of(OPEN_PATH_17, SETUP_MINUTES_ONLY, seed=seed), 25)
