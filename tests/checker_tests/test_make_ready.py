"""Exact make-ready on several hands."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.checker.make_ready import make_ready_ms


def fractions(*durations: int) -> list[Fraction]:
    return [Fraction(duration) for duration in durations]


def test_five_make_ready_tasks_on_two_hands_take_six() -> None:
    assert make_ready_ms(fractions(3, 3, 2, 2, 2), 2) == 6


def test_longest_first_would_have_taken_seven() -> None:
    loads = [0, 0]
    for duration in (3, 3, 2, 2, 2):
        loads[loads.index(min(loads))] += duration
    assert max(loads) == 7


@pytest.mark.parametrize(("hands", "right"), [(1, 12), (2, 6), (3, 5), (4, 4), (5, 3), (9, 3)])
def test_more_hands_never_take_longer_and_never_less_than_the_longest_task(hands: int, right: int) -> None:
    assert make_ready_ms(fractions(3, 3, 2, 2, 2), hands) == right


def test_no_task_takes_no_time() -> None:
    assert make_ready_ms([], 2) == 0
