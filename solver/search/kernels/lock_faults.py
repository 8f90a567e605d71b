"""Locks that an order of a plant breaks."""

from __future__ import annotations

from solver.search.kernels.address_book import (
    AT_BEGINS,
    AT_ENDS,
    AT_LEFT_OUT,
    AT_LOCK_PLACES,
    AT_MEMBERS,
    AT_PRESENT_ENDS,
    AT_START,
    AT_TRACE,
    AT_TRIAL,
    AT_TRIAL_RUNS,
    flags,
    ints,
    ints_2,
    lock_rows,
    plan_rows,
)
from solver.search.kernels.compiled import part
from solver.search.kernels.tables import BEFORE, Ints
from solver.search.kernels.walk import PLACES, book_of, lines_of

FIXED_START, AT_POSITION, BEFORE_ANOTHER, TOGETHER = 0, 1, 2, 3
"""Kinds of locks."""
UNTIMED, ALONE, IN_STEP = 0, 1, 2
"""How a trial was placed: not at all; line by line, with starts only of runs that are fixed; in step."""


@part
def broken_locks(plant: Ints, timed: int) -> int:
    """How many locks a trial breaks; a lock on a job that is left out binds nobody.

    Without times fixed starts count as kept; only lines placed in step tell what runs of other lines wait
    for.
    """
    locks = lock_rows(plant)
    if locks.shape[0] == 0:
        return 0
    places = ints_2(plant, AT_LOCK_PLACES)
    _note_places(plant)
    broken = 0
    for idx in range(locks.shape[0]):
        lock = locks[idx]
        place = places[lock["job"], 0]
        if lock["kind"] == TOGETHER:
            broken += _parted(plant, lock["members_from"], lock["members_to"])
        elif place < 0:
            continue
        elif lock["kind"] == AT_POSITION:
            broken += place % PLACES != lock["at"]
        elif lock["kind"] == BEFORE_ANOTHER:
            broken += _comes_too_late(plant, lock["job"], lock["at"], timed)
        elif timed != UNTIMED and places[lock["job"], 1] >= 0:
            broken += _start_ms(plant, lock["job"], timed) != lock["at"]
    return broken


@part
def _note_places(plant: Ints) -> None:
    """Where every item is: among those of its line that are not left out, counted from 1 behind a run that
    had started, which is at 0; and in the trial. -1 where not.
    """
    places, left_out = ints_2(plant, AT_LOCK_PLACES), flags(plant, AT_LEFT_OUT)
    for item in range(places.shape[0]):
        places[item, 0] = places[item, 1] = -1
    for line in range(lines_of(plant)):
        book = book_of(plant, line)
        trial, plans = ints(book, AT_TRIAL), plan_rows(book)
        placed, begun = 0, ints(book, AT_START)[BEFORE]
        if begun >= 0:
            places[plans[begun]["item"], 0] = line * PLACES
        for position in range(ints(plant, AT_TRIAL_RUNS)[line]):
            item = plans[trial[position]]["item"]
            if not left_out[item]:
                placed += 1
                places[item, 0] = line * PLACES + placed
                places[item, 1] = line * PLACES + position


@part
def _parted(plant: Ints, members_from: int, members_to: int) -> int:
    """Whether jobs do not stand next to each other on one line."""
    members, places = ints(plant, AT_MEMBERS), ints_2(plant, AT_LOCK_PLACES)
    first, last, count = 1 << 60, -1, 0
    for at in range(members_from, members_to):
        place = places[members[at], 0]
        if place >= 0:
            first, last, count = min(first, place), max(last, place), count + 1
    return int(count > 0 and last - first != count - 1)


@part
def _comes_too_late(plant: Ints, item: int, then: int, timed: int) -> int:
    """Whether a run does not end before another starts."""
    places = ints_2(plant, AT_LOCK_PLACES)
    if places[then, 0] < 0:
        return 0
    if places[then, 1] < 0:
        # It had started when nothing had ended.
        return 1
    if places[item, 1] < 0:
        return int(timed == IN_STEP and ints(plant, AT_PRESENT_ENDS)[item] > ints(plant, AT_BEGINS)[then])
    if timed == IN_STEP:
        return int(ints(plant, AT_ENDS)[item] > ints(plant, AT_BEGINS)[then])
    same_line = places[item, 0] // PLACES == places[then, 0] // PLACES
    return int(same_line and places[item, 0] > places[then, 0])


@part
def _start_ms(plant: Ints, item: int, timed: int) -> int:
    """When the changeover of a run starts that is there."""
    if timed == IN_STEP:
        return int(ints(plant, AT_BEGINS)[item])
    place = ints_2(plant, AT_LOCK_PLACES)[item, 1]
    return int(ints_2(book_of(plant, place // PLACES), AT_TRACE)[place % PLACES, 0])
