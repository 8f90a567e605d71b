"""Paths with due times: bounds never above the exact change, the exact change against costing anew, and
exchanges sought among near jobs against all exchanges.
"""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest

from solver.search.kernels.compiled import compiled
from solver.search.kernels.path import (
    Line,
    Path,
    Shifts,
    change,
    change_bound,
    empty_path,
    lay_out,
    rearrange,
    shifts_of,
)
from solver.search.kernels.path_descent import Kicks, begin, empty_descent, seek_near
from solver.search.kernels.randomness import seeded
from solver.search.path_islands import near_of

JOBS = 24
MOVES = 10_000


@compiled
def shifts_by(line: Line, path: Path, i: int, j: int, k: int, end: int) -> Shifts:
    """What only kernels call."""
    return shifts_of(line.setup, path.sequence, path.at, i, j, k, end)


@compiled
def bound_by(path: Path, i: int, j: int, k: int, end: int, shifts: Shifts) -> float:
    """What only kernels call."""
    return change_bound(path.sums, i, j, k, end, shifts)


def _drawn_line(random: np.random.Generator, *, once: bool) -> Line:
    """Set-up money in cents of a euro and times in whole units; due times from long ago to never."""
    cost = np.zeros((JOBS + 1, JOBS + 1))
    time = np.zeros((JOBS + 1, JOBS + 1))
    cost[:, :-1] = random.integers(0, 900, (JOBS + 1, JOBS)) / 100
    time[:, :-1] = random.integers(0, 9, (JOBS + 1, JOBS))
    return Line(
        np.stack([cost, time], axis=2),
        random.integers(0, 20, JOBS).astype(float),
        random.integers(-20, 16 * JOBS, JOBS).astype(float),
        random.integers(0, 5, JOBS) / 4,
        (random.integers(0, 3, JOBS) * 10 * once).astype(float),
    )


def _costed_anew(line: Line, sequence: list[int]) -> float:
    """Cost of a path by its definition."""
    total, now = 0.0, 0.0
    for before, job in zip([JOBS, *sequence], sequence, strict=False):
        now += line.setup[before, job, 1] + line.process[job]
        late = max(0.0, now - line.due[job])
        total += (
            line.setup[before, job, 0] + line.late_per_unit[job] * late + line.late_once[job] * (late > 0)
        )
    return total


def _laid_out(line: Line, random: np.random.Generator) -> tuple[Path, float]:
    path = empty_path(JOBS)
    path.sequence[1:-1] = random.permutation(JOBS)
    return path, lay_out(line, path, 1)


def _drawn_cuts(random: np.random.Generator) -> tuple[int, int, int, int]:
    """Cuts i < j ≤ k < end of a move; every third one without a middle."""
    i, j, k, end = sorted(random.choice(np.arange(1, JOBS + 2), 4, replace=False).tolist())
    return (i, j, j, end) if random.integers(3) == 0 else (i, j, k, end)


@pytest.mark.parametrize("once", [False, True])
def test_ten_thousand_moves_change_what_they_should_and_never_less_than_their_bound(once: bool) -> None:
    random = np.random.default_rng(20 + once)
    line = _drawn_line(random, once=once)
    bound_met = 0
    for move in range(MOVES):
        if move % 100 == 0:
            path, cost = _laid_out(line, random)
        i, j, k, end = _drawn_cuts(random)
        shifts = shifts_by(line, path, i, j, k, end)
        bound = bound_by(path, i, j, k, end, shifts)
        exact = change(path.at, path.sums, i, j, k, end, shifts, math.inf, once)
        jobs = path.sequence.tolist()
        after = jobs[1:i] + jobs[k:end] + jobs[j:k] + jobs[i:j] + jobs[end:-1]
        assert exact == pytest.approx(_costed_anew(line, after) - cost, abs=1e-6)
        assert bound <= exact + 1e-9
        bound_met += bound > exact - 1e-9
    assert bound_met > MOVES / 100  # a bound that is never reached would be a poor one


@pytest.mark.parametrize("once", [False, True])
def test_a_change_is_told_up_to_the_limit_and_infinite_above(once: bool) -> None:
    random = np.random.default_rng(30)
    line = _drawn_line(random, once=once)
    path, _ = _laid_out(line, random)
    for _ in range(500):
        i, j, k, end = _drawn_cuts(random)
        shifts = shifts_by(line, path, i, j, k, end)
        exact = change(path.at, path.sums, i, j, k, end, shifts, math.inf, once)
        within = change(path.at, path.sums, i, j, k, end, shifts, exact + 0.01, once)
        assert within == pytest.approx(exact, abs=1e-9)
        assert change(path.at, path.sums, i, j, k, end, shifts, exact - 0.01, once) == math.inf


def test_a_path_laid_out_anew_from_a_place_on_is_the_same_as_from_its_beginning() -> None:
    random = np.random.default_rng(40)
    line = _drawn_line(random, once=True)
    path, cost = _laid_out(line, random)
    assert cost == pytest.approx(_costed_anew(line, path.sequence[1:-1].tolist()))
    for first in range(1, JOBS + 1):
        path.sequence[first:-1] = random.permutation(path.sequence[first:-1])
        whole = empty_path(JOBS)
        whole.sequence[:] = path.sequence
        assert lay_out(line, path, first) == lay_out(line, whole, 1)
        np.testing.assert_array_equal(path.at, whole.at)
        np.testing.assert_array_equal(path.sums, whole.sums)


def test_segments_change_places_around_their_middle() -> None:
    sequence = np.arange(9)
    rearrange(sequence, np.empty(9, dtype=np.int64), 1, 3, 4, 7)
    assert sequence.tolist() == [0, 4, 5, 6, 3, 1, 2, 7, 8]


def _sought_near(line: Line, jobs: list[int], *, all_are_near: bool) -> list[tuple[int, ...]]:
    """The exchange found at each cut, forwards and backwards, where there is one: its four cuts."""
    descent = empty_descent(JOBS, seeded(1))
    kicks = Kicks(1, 1, JOBS, 0.0, 0.0, 0.0, 1e-9)
    begin(line, descent, kicks, np.array(jobs))
    near = near_of(line, JOBS if all_are_near else 6)
    setup, (sequence, at, sums) = line.setup, descent.path
    has_once = bool(line.late_once.any())
    found = []
    for place in range(1, JOBS + 2):
        for forward, worth, near_jobs in (
            (1, near.after_worth, near.after),
            (-1, near.before_worth, near.before),
        ):
            tried = seek_near(
                setup,
                sequence,
                at,
                sums,
                descent.move,
                descent.place_of,
                worth,
                near_jobs,
                place,
                forward,
                -1e-9,
                has_once,
            )
            if tried < 0:
                found.append(tuple(descent.move.tolist()))
    return found


@pytest.mark.parametrize("once", [False, True])
def test_exchanges_among_near_jobs_make_a_path_cheaper(once: bool) -> None:
    random = np.random.default_rng(50 + once)
    line = _drawn_line(random, once=once)
    for _ in range(20):
        jobs = random.permutation(JOBS).tolist()
        found = _sought_near(line, jobs, all_are_near=False)
        assert found
        for i, j, k, end in found:
            assert 1 <= i < j == k < end <= JOBS + 1
            after = jobs[: i - 1] + jobs[j - 1 : end - 1] + jobs[i - 1 : j - 1] + jobs[end - 1 :]
            assert _costed_anew(line, after) < _costed_anew(line, jobs) - 1e-9


def test_a_path_without_lateness_in_which_none_is_found_has_none() -> None:
    random = np.random.default_rng(60)
    line = _drawn_line(random, once=False)._replace(late_per_unit=np.zeros(JOBS))
    for _ in range(10):
        jobs = random.permutation(JOBS).tolist()
        while found := _sought_near(line, jobs, all_are_near=True):
            i, j, _, end = found[0]
            jobs = jobs[: i - 1] + jobs[j - 1 : end - 1] + jobs[i - 1 : j - 1] + jobs[end - 1 :]
        cost = _costed_anew(line, jobs)
        for i, j, end in combinations(range(JOBS + 1), 3):
            after = jobs[:i] + jobs[j:end] + jobs[i:j] + jobs[end:]
            assert _costed_anew(line, after) > cost - 1e-6
