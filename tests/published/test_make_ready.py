"""Several hands, and work done while the line runs.

Scheduling theory (P||Cmax); the numbers are own examples, by brute force. Internal and external work:
Shingo, A Revolution in Manufacturing: The SMED System (1985), from memory; own example.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.jobs import Job, Layer, Version
from solver.make_ready import make_ready_ms
from solver.plant import Aspect, AspectRule, Die, Line, Plant, Station, StockedWidth, Substrate
from solver.problem import Problem
from solver.sequence import Changeover, Placement
from tests.examples import examples
from tests.published.accounts import costed

UM_PER_M = 1_000_000
MS_PER_MIN = 60_000

LONG_AND_SHORT_MIN = (10, 6, 6, 6, 5)
THREES_AND_TWOS_MIN = (3, 3, 2, 2, 2)


@pytest.mark.parametrize(("hands", "expected_min"), [(1, 33), (2, 17), (3, 12)])
def test_tasks_of_10_6_6_6_and_5_minutes_are_shared_at_best(hands: int, expected_min: int) -> None:
    assert _make_ready_min(LONG_AND_SHORT_MIN, hands) == expected_min


@pytest.mark.parametrize(("hands", "expected_min"), [(1, 33), (2, 17), (3, 12)])
def test_a_stop_of_the_line_takes_what_its_hands_take(hands: int, expected_min: int) -> None:
    changeover = _changeover(LONG_AND_SHORT_MIN, hands=hands)
    assert changeover.duration_ms == expected_min * MS_PER_MIN
    assert [len(stop.tasks) for stop in changeover.stops] == [5]


def test_tasks_of_3_3_2_2_and_2_minutes_on_two_hands_take_6_and_not_7() -> None:
    """Longest first to the hand that is free gives 7; the best is 3 + 3 beside 2 + 2 + 2."""
    assert _make_ready_min(THREES_AND_TWOS_MIN, 2) == 6
    assert _changeover(THREES_AND_TWOS_MIN, hands=2).duration_ms == 6 * MS_PER_MIN


@examples(60)
@given(minutes=st.lists(st.integers(1, 20), min_size=1, max_size=6), hands=st.integers(1, 4))
def test_no_other_way_of_sharing_tasks_is_shorter(minutes: list[int], hands: int) -> None:
    shortest = min(
        max(
            sum(task for task, chosen in zip(minutes, sharing, strict=True) if chosen == hand)
            for hand in range(hands)
        )
        for sharing in product(range(hands), repeat=len(minutes))
    )
    assert _make_ready_min(tuple(minutes), hands) == shortest


FETCH_DIE_MIN, MOUNT_PLATES_MIN = 6, 18
SWAP_CYLINDERS_MIN, SWAP_DIE_MIN, THREAD_AND_REGISTER_MIN = 9, 7, 11
SMED_MIN = (FETCH_DIE_MIN, MOUNT_PLATES_MIN, SWAP_CYLINDERS_MIN, SWAP_DIE_MIN, THREAD_AND_REGISTER_MIN)
EXTERNAL = frozenset({0, 1})


def test_with_all_work_internal_the_line_stands_51_minutes() -> None:
    """Each task of the example is written as a station of its own that the run before does not use."""
    changeover = _changeover(SMED_MIN, hands=1)
    assert changeover.duration_ms == 51 * MS_PER_MIN


def test_external_work_done_while_the_line_runs_leaves_27_minutes() -> None:
    """Fetching the die and mounting plates are done by one person during the run before: −47.06 %."""
    changeover = _changeover(SMED_MIN, hands=1, external=EXTERNAL, run_before_min=60)
    assert changeover.duration_ms == 27 * MS_PER_MIN
    assert [task.duration_ms / MS_PER_MIN for task in changeover.hidden] == [6, 18]
    assert float(1 - Fraction(changeover.duration_ms, 51 * MS_PER_MIN)) == pytest.approx(0.470588, abs=1e-6)


@pytest.mark.parametrize(
    ("run_before_min", "expected_min"), [(24, 27), (23, 51 - 18), (18, 51 - 18), (17, 51 - 6), (5, 51)]
)
def test_external_work_is_only_free_as_far_as_the_run_before_lasts(
    run_before_min: int, expected_min: int
) -> None:
    """Whole tasks are hidden, the longest that fit: of 24 min of external work what the run before holds."""
    changeover = _changeover(SMED_MIN, hands=1, external=EXTERNAL, run_before_min=run_before_min)
    assert changeover.duration_ms == expected_min * MS_PER_MIN


def _make_ready_min(minutes: tuple[int, ...], hands: int) -> Fraction:
    return make_ready_ms(tuple(Fraction(task * MS_PER_MIN) for task in minutes), hands) / MS_PER_MIN


def _changeover(
    task_min: tuple[int, ...], hands: int, external: frozenset[int] = frozenset(), run_before_min: int = 60
) -> Changeover:
    """The changeover from a plain job to one that needs a task at every station but the die.

    One person works while the line runs, at the external stations only.
    """
    tasks = tuple(
        Station(
            f"task-{idx}",
            "place of work",
            0,
            (f"work-{idx}",),
            (Aspect("plate", AspectRule.DIFFERS, minutes * MS_PER_MIN),),
            guarded=idx in external,
        )
        for idx, minutes in enumerate(task_min)
    )
    line = Line(
        "line",
        (
            Station("splice table", "splice table", 0),
            *tasks,
            Station("die", "die", 0, ("die-cut",)),
        ),
        web_width_um=100_000,
        print_width_um=100_000,
        max_speed_um_min=UM_PER_M,
        setup_speed_um_min=UM_PER_M,
        hands=hands,
        hands_while_running=1 if external else 0,
    )
    plant = Plant(
        (line,),
        (Substrate("paper", Fraction(0), (StockedWidth(100_000),)),),
        (Die("one metre", UM_PER_M, 1, 1, 100_000),),
    )
    layers = tuple((Layer(f"work-{idx}", plate="new"),) for idx in range(len(task_min)))
    plain = Job("plain", (Version("only", run_before_min),), "paper", "one metre")
    full = Job("full", (Version("only", 1),), "paper", "one metre", layers)
    die_idx = len(task_min) + 1
    order = ((Placement(0, (die_idx,)), Placement(1, tuple(range(1, die_idx + 1)))),)
    changeover = costed(Problem(plant, (plain, full)), order).runs[1].changeover
    if changeover is None:
        raise AssertionError("a run that has not started has a changeover")
    return changeover
