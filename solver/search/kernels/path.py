"""Open paths with set-ups and due times: what an order costs, and what a move would change.

A path is an array of jobs in order behind a node for the start. What it costs is Σ cost of set-ups
+ Σ late_per_unit · max(0, end − due) + Σ late_once of the jobs with end > due, where ends are the cumulated
set-up and process times. All moves have one form: adjacent segments A M B become B M A, where M may be empty
(then a block moves) and A and B may be single jobs (then two jobs change places). Inside a segment nothing
changes but a common shift of all ends.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from solver.search.kernels.compiled import compiled, inlined

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Line(NamedTuple):
    """What jobs take and cost. n jobs; index n stands for the start.

    setup is n + 1 by n + 1 by 2: cost and time of the set-up of the job of the column right after that of the
    row; the last row is for the first job, the last column, all 0, for the end of the path.
    """

    setup: Floats
    process: Floats
    due: Floats
    late_per_unit: Floats
    late_once: Floats


class Path(NamedTuple):
    """An order and what follows from it, by place; the first place is the start, the last one the end.

    at has a row for end, slack (due − end), late_per_unit and late_once. sums[p] holds totals over the places
    before p, so a segment's total is a difference of two rows; its columns are named below.
    """

    sequence: Ints
    at: Floats
    sums: Floats


COST, TIME = 0, 1  # of a set-up
END, SLACK, PER_UNIT_AT, ONCE_AT = 0, 1, 2, 3

NOT_EARLY = 0  # late_per_unit of jobs with end ≥ due: the slope of lateness towards later
LATE = 1  # late_per_unit of jobs with end > due: the slope of lateness towards earlier
PER_UNIT = 2  # late_per_unit
LATENESS = 3  # late_per_unit · (end − due), negative for early jobs
TARDINESS = 4  # late_per_unit · max(0, end − due)
ONCE = 5  # late_once of jobs with end > due
SETUP = 6  # cost of set-ups
COLUMNS = 7


def empty_path(jobs: int) -> Path:
    """Room for a path; `lay_out` fills it once there is a sequence."""
    places = jobs + 1
    return Path(
        np.full(places + 1, jobs, dtype=np.int64), np.zeros((4, places)), np.zeros((places + 1, COLUMNS))
    )


@compiled
def lay_out(line: Line, path: Path, first: int) -> float:
    """Fill in what follows from the sequence from a place (at least 1) on; return the path's cost."""
    setup, process, due, late_per_unit, late_once = line
    sequence, at, sums = path
    places = len(sequence) - 1
    end = at[END, first - 1]
    job = sequence[first - 1]
    for place in range(first, places):
        before = job
        job = sequence[place]
        end += setup[before, job, TIME] + process[job]
        slack = due[job] - end
        per_unit = late_per_unit[job]
        once = late_once[job]
        at[END, place] = end
        at[SLACK, place] = slack
        at[PER_UNIT_AT, place] = per_unit
        at[ONCE_AT, place] = once
        late = slack < 0.0
        sums[place + 1, NOT_EARLY] = sums[place, NOT_EARLY] + (per_unit if slack <= 0.0 else 0.0)
        sums[place + 1, LATE] = sums[place, LATE] + (per_unit if late else 0.0)
        sums[place + 1, PER_UNIT] = sums[place, PER_UNIT] + per_unit
        sums[place + 1, LATENESS] = sums[place, LATENESS] - per_unit * slack
        sums[place + 1, TARDINESS] = sums[place, TARDINESS] - (per_unit * slack if late else 0.0)
        sums[place + 1, ONCE] = sums[place, ONCE] + (once if late else 0.0)
        sums[place + 1, SETUP] = sums[place, SETUP] + setup[before, job, COST]
    return float(sums[places, TARDINESS] + sums[places, ONCE] + sums[places, SETUP])


@compiled
def late_bound(sums: Floats, first: int, beyond: int, shift: float) -> float:
    """The least by which the late cost of places first ≤ p < beyond can change when all end later by a shift.

    Tardiness is convex in the shift, so it lies above its tangent at no shift; it lies above lateness; and it
    cannot fall below 0. A cost paid once can only be saved by jobs that are late and end earlier.
    """
    tardiness = sums[beyond, TARDINESS] - sums[first, TARDINESS]
    lateness = sums[beyond, LATENESS] - sums[first, LATENESS]
    per_unit = sums[beyond, PER_UNIT] - sums[first, PER_UNIT]
    not_early = sums[beyond, NOT_EARLY] - sums[first, NOT_EARLY]
    late = sums[beyond, LATE] - sums[first, LATE]
    once = sums[beyond, ONCE] - sums[first, ONCE]
    # The larger of both is the tangent on the side that the shift goes to, without a branch to guess.
    tangent = max(shift * not_early, shift * late)
    saved_once = once if shift < 0.0 else 0.0
    return float(max(tangent, max(lateness + shift * per_unit - tardiness, -tardiness)) - saved_once)


@compiled
def late_change(at: Floats, sums: Floats, first: int, beyond: int, shift: float, has_once: bool) -> float:
    """By how much exactly the late cost of places first ≤ p < beyond changes when all end so much later."""
    total = sums[first, TARDINESS] - sums[beyond, TARDINESS]
    for place in range(first, beyond):
        total += max(shift - at[SLACK, place], 0.0) * at[PER_UNIT_AT, place]
    if has_once:
        total += sums[first, ONCE] - sums[beyond, ONCE]
        for place in range(first, beyond):
            if shift > at[SLACK, place]:
                total += at[ONCE_AT, place]
    return float(total)


Shifts = tuple[float, float, float, float, float]


@inlined
def shifts_of(setup: Floats, sequence: Ints, at: Floats, i: int, j: int, k: int, end: int) -> Shifts:
    """What set-ups cost more, and how much later A, M, B and the rest end, when A M B become B M A.

    A = [i, j), M = [j, k), B = [k, end). No array is read under a condition: numba would then count
    references to it at every call, which takes longer than all the rest.
    """
    middle = k > j
    before, first_a, last_a, behind_a = sequence[i - 1], sequence[i], sequence[j - 1], sequence[j]
    before_b, first_b, last_b, after = sequence[k - 1], sequence[k], sequence[end - 1], sequence[end]
    behind_b = behind_a if middle else first_a
    before_a = before_b if middle else last_b
    new_b, old_a = setup[before, first_b, TIME], setup[before, first_a, TIME]
    new_m, old_m = setup[last_b, behind_b, TIME], setup[last_a, behind_a, TIME]
    new_a, old_b = setup[before_a, first_a, TIME], setup[before_b, first_b, TIME]
    new_rest, old_rest = setup[last_a, after, TIME], setup[last_b, after, TIME]
    cost = setup[before, first_b, COST] - setup[before, first_a, COST]
    cost += setup[last_b, behind_b, COST] - setup[last_a, behind_a, COST]
    cost += setup[last_a, after, COST] - setup[last_b, after, COST]
    middle_cost = setup[before_a, first_a, COST] - setup[before_b, first_b, COST]
    cost += middle_cost if middle else 0.0
    start, end_a, end_m, end_b = at[END, i - 1], at[END, j - 1], at[END, k - 1], at[END, end - 1]
    shift_b = start + new_b - end_m - old_b
    shift_m = end_b + shift_b + new_m - end_a - old_m
    end_before_a = end_m + shift_m if middle else end_b + shift_b
    shift_a = end_before_a + new_a - start - old_a
    shift_rest = end_a + shift_a + new_rest - end_b - old_rest
    return cost, shift_a, shift_m, shift_b, shift_rest


@inlined
def change_bound(sums: Floats, i: int, j: int, k: int, end: int, shifts: Shifts) -> float:
    """A lower bound of `change`, in the same time for paths of any length."""
    beyond = sums.shape[0] - 1
    bound = late_bound(sums, i, j, shifts[1]) + late_bound(sums, j, k, shifts[2])
    return shifts[0] + bound + late_bound(sums, k, end, shifts[3]) + late_bound(sums, end, beyond, shifts[4])


@compiled
def change(
    at: Floats, sums: Floats, i: int, j: int, k: int, end: int, shifts: Shifts, limit: float, has_once: bool
) -> float:
    """By how much the cost changes; infinite where that is above the limit.

    Bounds of the segments are replaced by exact changes one after the other, only as long as their total is
    within the limit.
    """
    firsts, beyonds, order = (i, j, k, end), (j, k, end, sums.shape[0] - 1), (0, 3, 2, 1)
    total = change_bound(sums, i, j, k, end, shifts)
    for idx in range(4):
        if total > limit:
            return np.inf
        segment = order[idx]
        first, beyond, shift = firsts[segment], beyonds[segment], shifts[segment + 1]
        total -= late_bound(sums, first, beyond, shift)
        total += late_change(at, sums, first, beyond, shift, has_once)
    return total if total <= limit else np.inf


@compiled
def rearrange(sequence: Ints, buffer: Ints, i: int, j: int, k: int, end: int) -> None:
    """Segments A = [i, j), M = [j, k), B = [k, end) of a sequence become B M A."""
    filled = 0
    for place in range(k, end):
        buffer[filled] = sequence[place]
        filled += 1
    for place in range(j, k):
        buffer[filled] = sequence[place]
        filled += 1
    for place in range(i, j):
        buffer[filled] = sequence[place]
        filled += 1
    for place in range(filled):
        sequence[i + place] = buffer[place]
