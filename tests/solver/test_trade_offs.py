"""What is worth a choice: dominance, differences nobody would care about, the spread of what is chosen."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.ledger import web_ledger
from solver.measures import measure
from solver.trade_offs import (
    Objectives,
    are_alike,
    clearly_beats,
    dominates,
    noticed,
    objectives_of,
    spread,
)
from solver.weights import Weights
from tests.builders.days import drawn_day, drawn_order

M_UM, MIN_MS = 1_000_000, 60_000


def at(waste_m: float, stopped_min: float, late_eur: float) -> Objectives:
    return Objectives(round(waste_m * M_UM), round(stopped_min * MIN_MS), Fraction(late_eur))


clouds = st.lists(
    st.builds(at, st.integers(0, 60), st.integers(0, 40), st.integers(0, 20)), min_size=0, max_size=14
)
"""Few figures, so that many are equal, near or in a ring."""


@pytest.mark.parametrize("seed", range(6))
def test_the_objectives_of_a_sequence_are_those_of_its_measures(seed: int) -> None:
    problem = drawn_day(seed)
    sequence = account(problem, drawn_order(problem, seed), Weights())
    measures = measure(problem, sequence, Weights())
    stopped_ms = (
        measures.changeover_ms
        + measures.roll_end_ms
        + measures.interruption_ms
        + measures.clean_down_ms
        + measures.waiting_ms
    )
    late_eur = sum((run.late_eur for run in sequence.runs), Fraction(0))
    assert objectives_of(sequence) == Objectives(measures.waste_um, stopped_ms, late_eur)
    assert web_ledger(problem, sequence)


@given(clouds)
def test_dominating_is_being_worse_in_nothing_and_better_in_something(cloud: list[Objectives]) -> None:
    for one, other in product(cloud, repeat=2):
        pairs = list(zip(one.figures, other.figures, strict=True))
        no_worse = sum(mine <= theirs for mine, theirs in pairs) == 3
        better = sum(mine < theirs for mine, theirs in pairs) > 0
        assert dominates(one, other) == (no_worse and better)


@pytest.mark.parametrize(
    ("other", "told"),
    [
        (at(104.9, 201.9, 100), (0, 0, 0)),
        (at(105, 200, 100), (-5 * M_UM, 0, 0)),
        (at(100, 202.1, 98.5), (0, round(-2.1 * MIN_MS), Fraction(3, 2))),
        (at(94, 197, 100.5), (6 * M_UM, 3 * MIN_MS, 0)),
    ],
)
def test_small_differences_are_not_noticed(other: Objectives, told: tuple[int, int, Fraction]) -> None:
    assert noticed(at(100, 200, 100), other) == told


def test_of_large_figures_a_share_is_not_noticed() -> None:
    assert are_alike(at(5000, 3000, 2000), at(5049, 3029, 2019))
    assert not are_alike(at(5000, 3000, 2000), at(5051, 3000, 2000))
    assert not are_alike(at(5000, 3000, 2000), at(5000, 3031, 2000))
    assert not are_alike(at(5000, 3000, 2000), at(5000, 3000, 2021))


def test_what_saves_little_and_costs_much_is_clearly_beaten() -> None:
    assert clearly_beats(at(100, 60, 0), at(96, 90, 0))
    assert not clearly_beats(at(100, 60, 0), at(90, 90, 0))
    assert not clearly_beats(at(100, 60, 0), at(101, 61, 0)), "alike"


@given(st.builds(at, st.integers(0, 60), st.integers(0, 40), st.integers(0, 20)), clouds, clouds)
def test_whatever_is_chosen_is_worth_a_choice(
    recommended: Objectives, others: list[Objectives], beside: list[Objectives]
) -> None:
    for most in (0, 1, 3, 8):
        places = spread(recommended, others, most, beside)
        chosen = [others[place] for place in places]
        assert len(places) == len(set(places)) <= most
        for one in chosen:
            assert not any(dominates(other, one) for other in (recommended, *others, *beside))
            assert not any(are_alike(other, one) for other in (recommended, *beside))
            assert not any(clearly_beats(other, one) for other in (recommended, *beside))
            assert any(difference < 0 for difference in noticed(one, recommended))
        for one, other in combinations(chosen, 2):
            assert not are_alike(one, other)
            assert not clearly_beats(one, other)
            assert not clearly_beats(other, one)


@given(st.builds(at, st.integers(0, 60), st.integers(0, 40), st.integers(0, 20)), clouds)
def test_nothing_is_passed_over_without_something_that_makes_it_pointless(
    recommended: Objectives, others: list[Objectives]
) -> None:
    chosen = spread(recommended, others, len(others))
    for place, one in enumerate(others):
        rivals = [recommended, *others[:place], *others[place + 1 :]]
        pointless = any(
            dominates(rival, one) or are_alike(rival, one) or clearly_beats(rival, one) for rival in rivals
        )
        assert place in chosen or pointless


@given(st.builds(at, st.integers(0, 60), st.integers(0, 40), st.integers(0, 20)), clouds)
def test_more_room_only_adds(recommended: Objectives, others: list[Objectives]) -> None:
    every = spread(recommended, others, len(others))
    for most in range(len(others)):
        assert spread(recommended, others, most) == every[:most]


def test_the_ends_come_first_the_farthest_before_the_others() -> None:
    recommended = at(100, 100, 10)
    least_waste, least_time, least_late = at(40, 180, 10), at(150, 60, 10), at(130, 130, 0)
    between = at(70, 130, 10)
    places = spread(recommended, [between, least_waste, least_time, least_late], 3)
    assert places == [3, 1, 2]
    assert spread(recommended, [between, least_waste, least_time, least_late], 4) == [3, 1, 2, 0]


def test_between_the_ends_the_farthest_is_taken() -> None:
    row = [at(10 * place, 200 - 20 * place, 0) for place in range(11)]
    recommended, others = row[10], row[:10]
    places = spread(recommended, others, 3)
    assert places[0] == 0, "the other end"
    assert places[1] == 5, "the middle"
    assert places[2] in (2, 3, 7, 8)


def test_a_figure_that_hardly_differs_does_not_decide_the_spread() -> None:
    recommended = at(0, 1000, 0)
    others = [at(50, 900, 0), at(100, 800, 0.9), at(100, 800.5, 0.4)]
    assert spread(recommended, others, 2) == [1, 0]


def test_of_two_that_are_alike_one_is_chosen() -> None:
    others = [at(50, 130, 0), at(50.5, 129.5, 0)]
    assert spread(at(100, 100, 0), others, 2) in ([0], [1])


def test_of_sequences_that_beat_each_other_in_a_ring_the_first_stays() -> None:
    """Each is noticeably better than the next in one figure and worse in others by what is not noticed."""
    ring = [at(20, 20, 11.6), at(26, 18.5, 11), at(23, 21, 10.4)]
    for place, one in enumerate(ring):
        assert clearly_beats(one, ring[(place + 1) % 3])
    for turn in range(3):
        assert spread(at(200, 10, 100), ring[turn:] + ring[:turn], 3) == [0]
