"""Every change of an order from a list, one after the other: what a local optimum is measured by."""

from __future__ import annotations

from solver.search.kernels.address_book import (
    AT_COUNTS,
    AT_JOB_PLANS,
    AT_KEPT,
    AT_NEAR,
    AT_ORDER,
    AT_PLACE,
    AT_RUNS,
    ints,
    ints_2,
    ints_3,
    plan_rows,
)
from solver.search.kernels.changes import (
    all_runs,
    as_late,
    exchange,
    item_at,
    place_of_nth,
    seat,
    swap_runs,
    transfer,
)
from solver.search.kernels.compiled import part
from solver.search.kernels.tables import END, Ints
from solver.search.kernels.walk import KEPT, PLACES, book_of, lines_of

LONGEST_SHIFTED = 3
"""Runs that are shifted together."""
FARTHEST, FARTHEST_OF_MANY, MANY = 100, 30, 300
"""How far runs are shifted, and how far in orders longer than `MANY`; behind near jobs any distance."""


@part
def changes_of_run(plant: Ints) -> int:
    """How many changes there are for every run."""
    lines, near = lines_of(plant), ints_2(book_of(plant, 0), AT_NEAR).shape[1]
    reach = _reach(plant)
    shifts_and_swaps = (2 * LONGEST_SHIFTED + 1) * reach
    away = (lines - 1) * (LONGEST_SHIFTED + 1) * (reach + 1)
    return int(shifts_and_swaps + LONGEST_SHIFTED * near + _most_choices(plant) + away)


@part
def _reach(plant: Ints) -> int:
    runs, longest = ints(plant, AT_RUNS), 0
    for line in range(runs.shape[0]):
        longest = max(longest, runs[line])
    # Other lines are reached up to the place behind their last run.
    longest += lines_of(plant) > 1
    return int(min(longest - 1, FARTHEST if longest <= MANY else FARTHEST_OF_MANY))


@part
def _most_choices(plant: Ints) -> int:
    most = 0
    for line in range(lines_of(plant)):
        ranges = ints_3(book_of(plant, line), AT_JOB_PLANS)
        for item in range(ranges.shape[0]):
            for cut in range(ranges.shape[1]):
                most = max(most, ranges[item, cut, 1] - ranges[item, cut, 0])
    return int(most)


@part
def listed_change(plant: Ints, run: int, number: int) -> None:
    """Write a change of a run, counted over all lines, into the trial."""
    if run >= all_runs(plant):
        return
    place, reach = place_of_nth(plant, run), _reach(plant)
    line, position = place // PLACES, place % PLACES
    runs = ints(plant, AT_RUNS)[line]
    if number < 2 * LONGEST_SHIFTED * reach:
        length = 1 + number % LONGEST_SHIFTED
        distance = 1 + number // (2 * LONGEST_SHIFTED)
        end = min(runs, position + length)
        if number // LONGEST_SHIFTED % 2:
            exchange(plant, line, position, end, min(runs, end + distance))
        else:
            exchange(plant, line, max(0, position - distance), position, end)
        return
    number -= 2 * LONGEST_SHIFTED * reach
    if number < reach:
        if position + 1 + number < runs:
            swap_runs(plant, place, place + 1 + number)
        return
    number -= reach
    near = ints_2(book_of(plant, line), AT_NEAR)
    if number < LONGEST_SHIFTED * near.shape[1]:
        other = near[item_at(plant, place), number // LONGEST_SHIFTED]
        if other >= 0:
            _behind(plant, place, ints(plant, AT_PLACE)[other], 1 + number % LONGEST_SHIFTED)
        return
    number -= LONGEST_SHIFTED * near.shape[1]
    ranges = ints_3(book_of(plant, line), AT_JOB_PLANS)
    if number < _most_choices(plant):
        plan = plan_rows(book_of(plant, line))[ints(book_of(plant, line), AT_ORDER)[position]]
        first = ranges[plan["item"], plan["cut"], 0]
        seat(plant, line, position, first + number, ranges[plan["item"], plan["cut"], 1])
        return
    _away(plant, place, number - _most_choices(plant), reach)


@part
def _behind(plant: Ints, place: int, target: int, length: int) -> None:
    """Move some runs behind the one at a target."""
    if target < 0:
        return
    line, position = place // PLACES, place % PLACES
    end = min(ints(plant, AT_RUNS)[line], position + length)
    if target // PLACES != line:
        transfer(plant, line, position, end, target // PLACES, target % PLACES + 1)
    elif target % PLACES >= end:
        exchange(plant, line, position, end, target % PLACES + 1)
    else:
        exchange(plant, line, target % PLACES + 1, position, end)


@part
def _away(plant: Ints, place: int, number: int, reach: int) -> None:
    """Move some runs to another line, or exchange one with a run there, about where it is as late."""
    lines, runs = lines_of(plant), ints(plant, AT_RUNS)
    each = (LONGEST_SHIFTED + 1) * (reach + 1)
    line, position = place // PLACES, place % PLACES
    to_line = number // each
    if to_line >= lines - 1:
        return
    to_line += to_line >= line
    number %= each
    middle = reach // 2
    if ints(plant, AT_COUNTS)[KEPT]:
        middle = as_late(plant, to_line, ints_2(book_of(plant, line), AT_KEPT)[position, END])
    at = max(0, min(middle - reach // 2, runs[to_line] - reach)) + number // (LONGEST_SHIFTED + 1)
    length = number % (LONGEST_SHIFTED + 1)
    if length > 0 and at <= runs[to_line]:
        transfer(plant, line, position, min(runs[line], position + length), to_line, at)
    elif length == 0 and at < runs[to_line] and to_line > line:
        swap_runs(plant, place, to_line * PLACES + at)
