"""Orders with few tool switches: annealing over changes of an order, most of which are refused early.

Between two needs of a tool that follow each other the tool is either kept, which takes a station at every
position in between, or loaded again. So with the first tool of every station free

    switches = Σ needs − needs met by a kept tool − min(stations, tools),

and keeping is a choice of stretches: as many as there is room for. Taken by their ends, every stretch that
still fits is kept. None is ever regretted: of the stretches that end later the one that begins first is in
the way wherever another one is, so it can be given up for the one at hand. This counts what keeping the tools
needed soonest comes to (Tang and Denardo, Operations Research 36, 1988). What an order takes up to a position
does not depend on what follows, so a changed order is counted from its first change on.

Positions up to e and positions from e on have no switch in common. So an order takes at least the switches
up to any position and those from there on by themselves: what lies behind a change was counted before.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from solver.search.kernels.compiled import compiled, part
from solver.search.kernels.randomness import draw_below, draw_unit
from solver.search.kernels.tables import Randomness

Ints = NDArray[np.int64]
Shorts = NDArray[np.int16]


class Needs(NamedTuple):
    """Tools of every job, one job after the other, and the stations for them.

    Parameters
    ----------
    tools
        Tools of job j, counted from 0, at `first[j]` up to before `first[j + 1]`; none has more than there
        are stations.
    stations
        One number: how many there are.
    missed
        By the length of a stretch that could not be kept: what an order is charged for it on top, in parts
        of a switch of `SWITCH`. It leads towards orders in which such stretches are short.
    """

    first: Ints
    tools: Ints
    stations: Ints
    missed: Ints


class Search(NamedTuple):
    """Where a search stands, so that it can go on at any change.

    Parameters
    ----------
    order, changed, best
        The order now, one that is looked at, the best.
    room
        Row e: stations left at every position before e, once positions before e are counted.
    last
        Row e: position before e at which every tool was needed last, −1 for none.
    counted
        Row e: what positions before e come to, by `KEPT` and what follows it.
    room_now, last_now, counted_now
        Of what is looked at.
    behind
        Switches of the positions from e on by themselves.
    numbers
        By `NOW` and what follows it.
    """

    order: Ints
    changed: Ints
    best: Ints
    room: Shorts
    last: Shorts
    counted: Ints
    room_now: Shorts
    last_now: Shorts
    counted_now: Ints
    behind: Ints
    numbers: Ints
    randomness: Randomness


class Cycle(NamedTuple):
    """From hot to cold.

    Parameters
    ----------
    hot, cold
        Mean of what is accepted on top, in switches, at the beginning and at the end (exponentially
        distributed with this mean); above 0.
    changes
        How many are tried in between; at least 1.
    narrow
        1 where changes of all spans are as frequent, more where narrow ones are more frequent.
    """

    hot: float
    cold: float
    changes: int
    narrow: float


SWITCH = 1 << 10
"""What a switch is charged."""
KEPT, FULL, TOOLS, MISSED, NEEDED = 0, 1, 2, 3, 4
"""Needs met by a kept tool, last position without room, tools seen, charges for stretches not kept, needs."""
COUNTS = 5
NOW, BEST, AT = 0, 1, 2
"""Charge of the order now, switches of the best, changes tried in this cycle."""
LOOK_EVERY = 256
"""Changes between two looks at the halt flag."""
LONGEST_BLOCK = 4
KINDS, SWAP, TURN, BLOCK = 4, 0, 1, 2


def empty_search(jobs: int, tools: int, randomness: Randomness) -> Search:
    """Room for a search of at least 2 jobs; `begin` starts it."""
    return Search(
        order=np.zeros(jobs, np.int64),
        changed=np.zeros(jobs, np.int64),
        best=np.zeros(jobs, np.int64),
        room=np.zeros((jobs + 1, jobs), np.int16),
        last=np.full((jobs + 1, tools), -1, np.int16),
        counted=np.zeros((jobs + 1, COUNTS), np.int64),
        room_now=np.zeros(jobs, np.int16),
        last_now=np.zeros(tools, np.int16),
        counted_now=np.zeros(COUNTS, np.int64),
        behind=np.zeros(jobs + 1, np.int64),
        numbers=np.array([0, 1 << 60, 0], np.int64),
        randomness=randomness,
    )


@compiled
def begin(needs: Needs, search: Search, order: Ints) -> None:
    """Let a search begin a cycle from an order; its best stays the best."""
    search.order[:] = order
    search.changed[:] = order
    search.numbers[AT] = 0
    count_from(needs, search, 0)


@compiled
def search_orders(needs: Needs, search: Search, cycle: Cycle, work: int, halt: NDArray[np.uint8]) -> int:
    """Try at most so many changes, and no more than the cycle has left; return how many."""
    numbers, order, changed = search.numbers, search.order, search.changed
    cooling = np.log(cycle.cold / cycle.hot) / cycle.changes
    done = 0
    while done < work and numbers[AT] < cycle.changes:
        if done % LOOK_EVERY == 0 and halt[0] != 0:
            return done
        done += 1
        mean = SWITCH * cycle.hot * np.exp(cooling * numbers[AT])
        numbers[AT] += 1
        limit = numbers[NOW] + int(-mean * np.log(1.0 - draw_unit(search.randomness)))
        first, until = draw_change(search, cycle.narrow)
        if charge_of_change(needs, search, first, until, limit) <= limit:
            for at in range(first, until):
                order[at] = changed[at]
            count_from(needs, search, first)
        else:
            for at in range(first, until):
                changed[at] = order[at]
    return done


@compiled
def switches_of(needs: Needs, order: Ints, tools: int) -> int:
    """Switches of an order."""
    room = np.zeros(len(order), np.int16)
    last = np.full(tools, -1, np.int16)
    counts = np.zeros(COUNTS, np.int64)
    for at in range(len(order)):
        place(needs, room, last, counts, at, order[at])
    return int(switches(needs, counts))


@part
def place(needs: Needs, room: Shorts, last: Shorts, counts: Ints, at: int, job: int) -> None:
    """Count one more position: keep every stretch that ends here and still fits."""
    first, until = needs.first[job], needs.first[job + 1]
    kept, full, seen, missed = counts[KEPT], counts[FULL], counts[TOOLS], counts[MISSED]
    for idx in range(first, until):
        tool = needs.tools[idx]
        since = np.int64(last[tool])
        last[tool] = at
        if since < full:
            if since < 0:
                seen += 1
            else:
                missed += needs.missed[at - since]
            continue
        kept += 1
        for between in range(since + 1, at):
            room[between] -= 1
            if room[between] == 0:
                full = between
    room[at] = needs.stations[0] - (until - first)
    if room[at] == 0:
        full = at
    counts[KEPT], counts[FULL], counts[TOOLS], counts[MISSED] = kept, full, seen, missed
    counts[NEEDED] += until - first


@part
def switches(needs: Needs, counts: Ints) -> int:
    """Switches of what was counted."""
    return int(counts[NEEDED] - counts[KEPT] - min(counts[TOOLS], needs.stations[0]))


@part
def place_behind(needs: Needs, room: Shorts, last: Shorts, counted: Ints, at: int, job: int) -> None:
    """Count one more position in rows of their own: from row `at` to the next."""
    for position in range(at):
        room[at + 1, position] = room[at, position]
    for tool in range(last.shape[1]):
        last[at + 1, tool] = last[at, tool]
    for idx in range(COUNTS):
        counted[at + 1, idx] = counted[at, idx]
    place(needs, room[at + 1], last[at + 1], counted[at + 1], at, job)


@part
def count_from(needs: Needs, search: Search, first: int) -> None:
    """Count the order anew from a position on, and backwards from its end."""
    order, counts, jobs = search.order, search.counted_now, len(search.order)
    for at in range(first, jobs):
        place_behind(needs, search.room, search.last, search.counted, at, order[at])
    counts[:] = 0
    search.last_now[:] = -1
    for at in range(jobs):
        # An order and its reverse take the same switches.
        place(needs, search.room_now, search.last_now, counts, at, order[jobs - 1 - at])
        search.behind[jobs - 1 - at] = switches(needs, counts)
    total = switches(needs, search.counted[jobs])
    search.numbers[NOW] = SWITCH * total + search.counted[jobs, MISSED]
    if total < search.numbers[BEST]:
        search.numbers[BEST] = total
        search.best[:] = order


@part
def charge_of_change(needs: Needs, search: Search, first: int, until: int, limit: int) -> int:
    """Charge of the order with its positions from `first` to before `until` as in `changed`, or, once that is
    above the limit, something above the limit.
    """
    changed, behind, counts = search.changed, search.behind, search.counted_now
    room, last, jobs = search.room_now, search.last_now, len(search.order)
    for idx in range(COUNTS):
        counts[idx] = search.counted[first, idx]
    for position in range(counts[FULL], first):
        room[position] = search.room[first, position]
    for tool in range(len(last)):
        last[tool] = search.last[first, tool]
    charge = 0
    for at in range(first, jobs):
        place(needs, room, last, counts, at, changed[at])
        charge = SWITCH * switches(needs, counts) + counts[MISSED]
        if charge + SWITCH * behind[max(at, until)] > limit:
            return limit + 1
    return charge


@part
def draw_change(search: Search, narrow: float) -> tuple[int, int]:
    """Write a random change beside the order and return where it begins and ends.

    The jobs at both ends change places, or the stretch is turned round, or a block of jobs goes from one of
    its ends to the other.
    """
    order, changed, randomness = search.order, search.changed, search.randomness
    jobs = len(order)
    kind = draw_below(randomness, KINDS)
    span = 2 + int((jobs - 1) * draw_unit(randomness) ** narrow)
    first = draw_below(randomness, jobs - span + 1)
    until = first + span
    if kind == SWAP:
        changed[first], changed[until - 1] = order[until - 1], order[first]
        return first, until
    if kind == TURN:
        for at in range(first, until):
            changed[at] = order[first + until - 1 - at]
        return first, until
    block = 1 if kind == BLOCK else 1 + draw_below(randomness, min(LONGEST_BLOCK, span - 1))
    if draw_below(randomness, 2) == 0:
        block = span - block
    for at in range(first, until - block):
        changed[at] = order[at + block]
    for at in range(block):
        changed[until - block + at] = order[first + at]
    return first, until
