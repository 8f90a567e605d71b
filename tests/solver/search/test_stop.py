"""Limits of a search."""

from __future__ import annotations

import math
from typing import Any

import pytest

from solver.search.stop import Stop


@pytest.mark.parametrize("time_s", [-1, -1e-9, math.nan, math.inf])
def test_a_senseless_time_limit_is_refused(time_s: float) -> None:
    with pytest.raises(ValueError, match="time_s must be at least 0 and finite"):
        Stop(time_s=time_s)


@pytest.mark.parametrize("work", [-1, math.nan, math.inf, 1.5])
def test_a_senseless_work_limit_is_refused(work: Any) -> None:
    with pytest.raises(ValueError, match="work must be a whole number of at least 0"):
        Stop(work=work)


def test_work_left_falls_to_0_and_not_below() -> None:
    stop = Stop(work=10)
    assert stop.work_left == 10
    stop.count(7)
    assert stop.work_left == 3
    assert not stop.reached
    stop.count(7)
    assert stop.work_left == 0
    assert stop.reached


def test_without_a_work_limit_no_work_is_left_to_count() -> None:
    assert Stop(time_s=1).work_left is None


def test_time_kept_for_what_follows_ends_a_search_early_and_is_given_back() -> None:
    stop = Stop(time_s=1000)
    with stop.reserve_time(10_000):
        assert stop.reached
    assert not stop.reached


def test_time_kept_leaves_a_work_limit_alone() -> None:
    stop = Stop(work=10)
    with stop.reserve_time(10_000):
        assert not stop.reached
        assert stop.work_left == 10


def test_a_part_of_a_limit_of_work_need_not_be_whole() -> None:
    """A limit of 0.7 of 1001 let no change be tried after the 700th and was never reached: a search of
    islands, which stops only between rounds, went on for ever.
    """
    stop = Stop(work=1001)
    with stop.reserve(0.3):
        stop.count(stop.work_left or 0)
        assert stop.work_left == 0
        assert stop.reached


def test_used_is_the_share_of_the_limits_in_force() -> None:
    stop = Stop(work=200)
    assert stop.used == 0
    stop.count(50)
    assert stop.used == 0.25
    with stop.reserve(0.5):
        assert stop.used == 0.5
    stop.count(500)
    assert stop.used == 1


def test_without_anything_allowed_all_of_it_is_used() -> None:
    assert Stop(work=0).used == Stop(time_s=0).used == 1


def test_of_two_limits_the_one_nearest_its_end_says_how_much_is_used() -> None:
    stop = Stop(time_s=10_000, work=10)
    stop.count(9)
    assert stop.used == 0.9
    with stop.reserve_time(9_500):
        assert 0.95 <= stop.used < 1


def test_what_is_used_of_all_limits_knows_nothing_of_what_is_kept_for_later() -> None:
    stop = Stop(work=100)
    stop.count(35)
    with stop.reserve(0.3):
        assert (stop.used, stop.used_of_all) == (0.5, 0.35)
    assert stop.used == stop.used_of_all
