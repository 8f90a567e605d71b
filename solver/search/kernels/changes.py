"""Random changes of a plant's order, written into the trials of the lines they touch."""

from __future__ import annotations

from solver.search.kernels.address_book import (
    AT_COUNTS,
    AT_EXCHANGED,
    AT_JOB_PLANS,
    AT_KEPT,
    AT_NEAR,
    AT_ORDER,
    AT_ORIGIN,
    AT_PLACE,
    AT_RUNS,
    AT_SEATED,
    AT_SHARES,
    AT_TRIAL,
    AT_TRIAL_RUNS,
    floats,
    ints,
    ints_2,
    ints_3,
    packed_rows,
    plan_rows,
    randomness_of,
    wash_rows,
    word_rows,
)
from solver.search.kernels.changeovers import changed_slots, members
from solver.search.kernels.compiled import part
from solver.search.kernels.randomness import draw_below, draw_unit
from solver.search.kernels.tables import END, HEAD, Ints
from solver.search.kernels.walk import KEPT, PLACES, book_of, lines_of, note_part

LONGEST_BLOCK = 50
MOST_SEATS = 12
"""Station choices that are looked at for a run that comes to another line."""
ANYWHERE = 0.5
"""Share of the blocks taken to another line that go to any position there; the others go where it is as
late."""
CROSSING, CROSSING_ANYWHERE, CROSSING_TO_END = 0.2, 0.3, 0.1
"""Share of the changes of several lines that exchange blocks of two; of those the share with a block from any
position, and with all that is behind on both lines."""
CROSSING_REACH = 2
"""How many runs from where it is as late the other block begins at most."""


@part
def change(plant: Ints) -> None:
    """Write a random change into the trial, or none."""
    runs = all_runs(plant)
    if runs == 0:
        return
    random, shares = randomness_of(plant), floats(plant, AT_SHARES)
    if runs == 1:
        if lines_of(plant) > 1 and draw_unit(random) < 0.5:
            _to_another_line(plant)
        else:
            restation(plant)
        return
    if lines_of(plant) > 1 and draw_unit(random) < CROSSING:
        cross(plant)
        return
    kind = draw_unit(random)
    if kind < shares[0]:
        move_near(plant)
    elif kind < shares[0] + shares[1]:
        move_block(plant)
    elif kind < shares[0] + shares[1] + shares[2]:
        swap(plant)
    else:
        restation(plant)


@part
def all_runs(plant: Ints) -> int:
    """The runs of all lines."""
    runs, total = ints(plant, AT_RUNS), 0
    for line in range(runs.shape[0]):
        total += runs[line]
    return total


@part
def place_of_nth(plant: Ints, number: int) -> int:
    """Where the n-th run of all lines is, counted from 0."""
    runs, line = ints(plant, AT_RUNS), 0
    while number >= runs[line]:
        number -= runs[line]
        line += 1
    return line * PLACES + number


@part
def item_at(plant: Ints, place: int) -> int:
    """What the order has at a place."""
    book = book_of(plant, place // PLACES)
    return int(plan_rows(book)[ints(book, AT_ORDER)[place % PLACES]]["item"])


@part
def exchange(plant: Ints, line: int, start: int, middle: int, end: int) -> None:
    """Exchange two adjacent blocks of a line, [start, middle) and [middle, end)."""
    if not start < middle < end:
        return
    book = book_of(plant, line)
    order, trial, origin = ints(book, AT_ORDER), ints(book, AT_TRIAL), ints(book, AT_ORIGIN)
    at = start
    for position in range(middle, end):
        trial[at] = order[position]
        origin[at] = position
        at += 1
    for position in range(start, middle):
        trial[at] = order[position]
        origin[at] = position
        at += 1
    note_part(plant, line, start, end)


@part
def transfer(plant: Ints, line: int, first: int, last: int, to_line: int, at: int) -> None:
    """Move the runs [first, last) of a line to before a position of another line, if all can run there."""
    if last <= first or line == to_line or not seat_all(plant, line, first, last, to_line, at, 0):
        return
    insert(plant, to_line, at, last - first)
    remove(plant, line, first, last)


@part
def seat_all(plant: Ints, line: int, first: int, last: int, to_line: int, at: int, room: int) -> bool:
    """Note in `seated`, from `room` on, plans for the runs [first, last) of a line at a position of another;
    returns whether all can run there.
    """
    book, seated = book_of(plant, line), ints(plant, AT_SEATED)
    order = ints(book, AT_ORDER)
    for position in range(first, last):
        plan = plan_rows(book)[order[position]]
        seated[room] = seat_on(plant, to_line, plan["item"], plan["cut"], at)
        if seated[room] < 0:
            return False
        room += 1
    return True


@part
def remove(plant: Ints, line: int, first: int, last: int) -> None:
    """Take the runs [first, last) out of a line."""
    replace(plant, line, first, last, 0, 0)


@part
def insert(plant: Ints, line: int, at: int, count: int) -> None:
    """Insert so many plans of `seated` into a line before a position."""
    replace(plant, line, at, at, 0, count)


@part
def replace(plant: Ints, line: int, first: int, last: int, room: int, count: int) -> None:
    """Put so many plans of `seated`, from `room` on, in place of the runs [first, last) of a line."""
    book, seated = book_of(plant, line), ints(plant, AT_SEATED)
    order, trial, origin = ints(book, AT_ORDER), ints(book, AT_TRIAL), ints(book, AT_ORIGIN)
    longer = count - (last - first)
    if longer != 0:
        for position in range(last, ints(plant, AT_RUNS)[line]):
            trial[position + longer] = order[position]
            origin[position + longer] = position
    for step in range(count):
        trial[first + step] = seated[room + step]
        origin[first + step] = -1
    ints(plant, AT_TRIAL_RUNS)[line] += longer
    note_part(plant, line, first, first + count)


@part
def seat_on(plant: Ints, line: int, item: int, cut: int, at: int) -> int:
    """The plan at a position of a line that changes least there, or -1 where it cannot run on it."""
    book = book_of(plant, line)
    ranges = ints_3(book, AT_JOB_PLANS)
    first, last = ranges[item, cut, 0], ranges[item, cut, 1]
    if last - first < 2:
        return int(first) if last > first else -1
    if not ints(plant, AT_COUNTS)[KEPT]:
        return int(first + draw_below(randomness_of(plant), last - first))
    best, least = -1, 1 << 60
    for number in range(min(MOST_SEATS, last - first)):
        plan_idx = first + number
        if last - first > MOST_SEATS:
            plan_idx = first + draw_below(randomness_of(plant), last - first)
        changed = _changed(book, plan_idx, at)
        if changed < least:
            best, least = plan_idx, changed
    return int(best)


@part
def _changed(book: Ints, plan_idx: int, at: int) -> int:
    """How many slots a plan changes before a position of the order."""
    words, packed, washed = word_rows(book), packed_rows(book), wash_rows(book)
    kept, changed = ints_2(book, AT_KEPT), 0
    for idx in range(words.shape[0]):
        need, word = packed[plan_idx, idx], words[idx]
        changed += members(
            changed_slots(
                kept[at, HEAD + idx], need["mask"], need["value"], word["low"], word["top"], word["always"]
            )
        )
    for idx in range(washed.shape[1]):
        held = kept[at, HEAD + washed[plan_idx, idx]["column"]]
        changed += held != 0 and held != washed[plan_idx, idx]["value"]
    return changed


@part
def as_late(plant: Ints, line: int, end_ms: int) -> int:
    """The first position of a line whose run ends later than an instant, by the snapshots."""
    kept = ints_2(book_of(plant, line), AT_KEPT)
    low, high = 0, ints(plant, AT_RUNS)[line]
    while low < high:
        middle = (low + high) // 2
        if kept[middle + 1, END] > end_ms:
            high = middle
        else:
            low = middle + 1
    return int(low)


@part
def _drawn_length(plant: Ints) -> int:
    length = 1
    while length < LONGEST_BLOCK and draw_unit(randomness_of(plant)) < 0.5:
        length += 1
    return length


@part
def move_near(plant: Ints) -> None:
    """Bring a run next to one that it likes to follow, with a few of its neighbours, or that one to it."""
    random, runs = randomness_of(plant), ints(plant, AT_RUNS)
    place = place_of_nth(plant, draw_below(random, all_runs(plant)))
    line, position = place // PLACES, place % PLACES
    nears = ints_2(book_of(plant, line), AT_NEAR)
    near = nears[item_at(plant, place), draw_below(random, nears.shape[1])]
    target = ints(plant, AT_PLACE)[near] if near >= 0 else -1
    if target < 0 or target == place - 1 or target == place:
        move_block(plant)
        return
    length, comes = _drawn_length(plant), draw_unit(random) < 0.5
    other, target = target // PLACES, target % PLACES
    if other != line:
        if comes:
            transfer(plant, line, position, min(position + length, runs[line]), other, target + 1)
        else:
            transfer(plant, other, max(0, target - length + 1), target + 1, line, position)
    elif comes:
        if target > position:
            exchange(plant, line, position, min(position + length, target), target + 1)
        else:
            exchange(plant, line, target + 1, position, min(position + length, runs[line]))
    elif target < position:
        exchange(plant, line, max(0, target - length + 1), target + 1, position)
    else:
        exchange(plant, line, position, max(position + 1, target - length + 1), target + 1)


@part
def move_block(plant: Ints) -> None:
    """Exchange two adjacent blocks anywhere, or take a block to another line."""
    random, runs = randomness_of(plant), ints(plant, AT_RUNS)
    if lines_of(plant) > 1 and draw_unit(random) < 0.5:
        _to_another_line(plant)
        return
    place = place_of_nth(plant, draw_below(random, all_runs(plant)))
    line, start = place // PLACES, place % PLACES
    longest = min(LONGEST_BLOCK, runs[line] - 1)
    if longest < 1:
        return
    middle = start + 1 + min(draw_below(random, longest), draw_below(random, longest))
    if middle < runs[line]:
        end = middle + 1 + min(draw_below(random, longest), draw_below(random, longest))
        exchange(plant, line, start, middle, min(end, runs[line]))


@part
def _drawn_target(plant: Ints, anywhere: float, reach: int) -> tuple[int, int, int]:
    """A run's place, another line, and a position there: a share of them `anywhere`, the others so many runs
    at most from where it is as late.
    """
    random, runs, lines = randomness_of(plant), ints(plant, AT_RUNS), lines_of(plant)
    place = place_of_nth(plant, draw_below(random, all_runs(plant)))
    line, position = place // PLACES, place % PLACES
    to_line = (line + 1 + draw_below(random, lines - 1)) % lines
    at = draw_below(random, runs[to_line] + 1)
    if draw_unit(random) >= anywhere and ints(plant, AT_COUNTS)[KEPT]:
        at = as_late(plant, to_line, ints_2(book_of(plant, line), AT_KEPT)[position, END])
        if reach > 0:
            at += draw_below(random, 2 * reach + 1) - reach
            at = max(0, min(at, runs[to_line]))
    return place, to_line, at


@part
def _to_another_line(plant: Ints) -> None:
    place, to_line, at = _drawn_target(plant, ANYWHERE, 0)
    line, position = place // PLACES, place % PLACES
    last = min(position + _drawn_length(plant), ints(plant, AT_RUNS)[line])
    transfer(plant, line, position, last, to_line, at)


@part
def cross(plant: Ints) -> None:
    """Exchange blocks of two lines, which mostly begin about as late; one may be empty."""
    place, to_line, at = _drawn_target(plant, CROSSING_ANYWHERE, CROSSING_REACH)
    random, runs = randomness_of(plant), ints(plant, AT_RUNS)
    line, first = place // PLACES, place % PLACES
    last, until = runs[line], runs[to_line]
    if draw_unit(random) >= CROSSING_TO_END:
        last, until = min(last, first + _drawn_length(plant)), min(until, at + _drawn_length(plant))
    count = last - first
    fits = seat_all(plant, line, first, last, to_line, at, 0)
    if fits and seat_all(plant, to_line, at, until, line, first, count):
        replace(plant, line, first, last, count, until - at)
        replace(plant, to_line, at, until, 0, count)


@part
def swap(plant: Ints) -> None:
    """Exchange two runs."""
    random, count = randomness_of(plant), all_runs(plant)
    one = place_of_nth(plant, draw_below(random, count))
    swap_runs(plant, one, place_of_nth(plant, draw_below(random, count)))


@part
def swap_runs(plant: Ints, one: int, other: int) -> None:
    """Exchange the runs at two places."""
    if one == other:
        return
    one, other = min(one, other), max(one, other)
    line, first, to_line, last = one // PLACES, one % PLACES, other // PLACES, other % PLACES
    if line == to_line:
        book = book_of(plant, line)
        order, trial, origin = ints(book, AT_ORDER), ints(book, AT_TRIAL), ints(book, AT_ORIGIN)
        trial[first], trial[last] = order[last], order[first]
        origin[first], origin[last] = last, first
        note_part(plant, line, first, last + 1)
        return
    plan = plan_rows(book_of(plant, line))[ints(book_of(plant, line), AT_ORDER)[first]]
    plan_there = plan_rows(book_of(plant, to_line))[ints(book_of(plant, to_line), AT_ORDER)[last]]
    seated_there = seat_on(plant, to_line, plan["item"], plan["cut"], last)
    seated = seat_on(plant, line, plan_there["item"], plan_there["cut"], first)
    if seated >= 0 and seated_there >= 0:
        reseat(plant, line, first, seated)
        note_part(plant, line, first, first + 1)
        reseat(plant, to_line, last, seated_there)
        note_part(plant, to_line, last, last + 1)


@part
def reseat(plant: Ints, line: int, position: int, plan_idx: int) -> None:
    """Write another plan into a line's trial."""
    book = book_of(plant, line)
    ints(book, AT_TRIAL)[position] = plan_idx
    ints(book, AT_ORIGIN)[position] = -1


@part
def restation(plant: Ints) -> None:
    """Give a run other stations, or exchange two stations in a few runs from it on."""
    random = randomness_of(plant)
    place = place_of_nth(plant, draw_below(random, all_runs(plant)))
    line, position = place // PLACES, place % PLACES
    book = book_of(plant, line)
    order, plan = ints(book, AT_ORDER), plan_rows(book)[ints(book, AT_ORDER)[position]]
    ranges, exchanged = ints_3(book, AT_JOB_PLANS), ints_2(book, AT_EXCHANGED)
    first, last = ranges[plan["item"], plan["cut"], 0], ranges[plan["item"], plan["cut"], 1]
    if last - first < 2:
        if all_runs(plant) > 2:
            move_block(plant)
        return
    pairs = exchanged.shape[1]
    if pairs == 0 or draw_unit(random) < 0.5:
        seat(plant, line, position, first + draw_below(random, last - first), last)
        return
    pair = draw_below(random, pairs)
    end, runs = position, ints(plant, AT_RUNS)[line]
    while end < runs and end < position + LONGEST_BLOCK:
        seated = exchanged[order[end], pair]
        if seated < 0 or (end > position and draw_unit(random) < 0.2):
            break
        reseat(plant, line, end, seated)
        end += 1
    if end > position:
        note_part(plant, line, position, end)


@part
def seat(plant: Ints, line: int, position: int, plan_idx: int, behind: int) -> None:
    """Give a run the stations of a plan, if that is another one and before the last of its job's."""
    if plan_idx != ints(book_of(plant, line), AT_ORDER)[position] and plan_idx < behind:
        reseat(plant, line, position, plan_idx)
        note_part(plant, line, position, position + 1)
