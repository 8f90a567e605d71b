"""Who does what in a stop."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.make_ready import make_ready_ms, make_ready_shares


def minutes(*durations: int) -> tuple[Fraction, ...]:
    return tuple(Fraction(duration) for duration in durations)


def test_two_hands_finish_3_3_2_2_2_in_6() -> None:
    assert make_ready_shares(minutes(3, 3, 2, 2, 2), 2) == ((0, 1), (2, 3, 4))


def test_a_hand_without_a_task_is_not_named() -> None:
    assert make_ready_shares(minutes(5), 3) == ((0,),)
    assert make_ready_shares((), 3) == ()


def test_no_hands_are_refused() -> None:
    with pytest.raises(ValueError, match="hands must be above 0"):
        make_ready_shares(minutes(1), 0)


@given(st.lists(st.fractions(0, 20, max_denominator=6), max_size=9), st.integers(1, 4))
def test_every_task_is_somebodys_and_the_last_is_done_in_the_least_time(
    durations: list[Fraction], hands: int
) -> None:
    shares = make_ready_shares(tuple(durations), hands)
    assert sorted(task_idx for share in shares for task_idx in share) == list(range(len(durations)))
    assert len(shares) <= hands
    loads = [sum((durations[task_idx] for task_idx in share), Fraction(0)) for share in shares]
    assert max(loads, default=Fraction(0)) == make_ready_ms(tuple(durations), hands)
