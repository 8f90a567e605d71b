"""Iterated local search of open paths with due times.

A kick exchanges two short segments; then moves are sought at the cuts that changed, until none makes the path
cheaper; then the path is kept or the one before the kick is taken up again. Cuts are known by the job behind
them (the start's index stands for the cut behind the last job).

Two kinds of moves are sought at a cut. Adjacent segments of any length change places where that saves set-up,
found arc by arc among near jobs as for tours (see `tour`): where due times are loose, a path is hardly more
than a tour. Short blocks and single jobs go to any place, which repairs lateness.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from solver.search.kernels.compiled import compiled
from solver.search.kernels.path import END as END_TIME
from solver.search.kernels.path import (
    Floats,
    Ints,
    Line,
    Path,
    change,
    change_bound,
    empty_path,
    lay_out,
    rearrange,
    shifts_of,
)
from solver.search.kernels.randomness import draw_below, draw_unit
from solver.search.kernels.tables import Randomness


class Descent(NamedTuple):
    """Where a search stands, so that it can go on at any move."""

    path: Path
    before: Ints
    """Sequence before the kick."""
    best: Ints
    costs: Floats
    """Now, before the kick, at best."""
    queue: Ints
    """Cuts to be looked at: a ring."""
    queued: NDArray[np.uint8]
    ring: Ints
    """Head of the ring and how many wait in it."""
    place_of: Ints
    move: Ints
    """Cuts i, j, k, end of the move at hand."""
    randomness: Randomness


NOW, BEFORE, BEST = 0, 1, 2
HEAD, WAITING = 0, 1
CUT_I, CUT_J, CUT_K, CUT_END = 1, 2, 4, 8
KINDS = 10


class Near(NamedTuple):
    """What set-ups between jobs are worth, and every job's near ones; the start's index is the end's as well.

    after_worth[a, b] is for b right after a and before_worth[b, a] the same; after[a] holds the jobs that
    best follow a, before[b] those that b best follows, both cheapest first.
    """

    after_worth: Floats
    after: Ints
    before_worth: Floats
    before: Ints


class Kicks(NamedTuple):
    """Settings: longest moved block, longest segment of a kick, how far blocks move, mean accepted loss.

    guidance is what costs of set-ups were raised by for every unit of time, so that the search prefers the
    shorter of two paths with the same late cost; process is the time of all jobs without set-up. A change
    within the tolerance is none.
    """

    longest_block: int
    longest_kick: int
    reach: int
    allowance: float
    guidance: float
    process: float
    tolerance: float


def empty_descent(jobs: int, randomness: Randomness) -> Descent:
    """Room for a search of paths of some jobs."""
    places = jobs + 1
    return Descent(
        path=empty_path(jobs),
        before=np.full(places + 1, jobs, dtype=np.int64),
        best=np.full(places + 1, jobs, dtype=np.int64),
        costs=np.zeros(3),
        queue=np.zeros(places, dtype=np.int64),
        queued=np.zeros(places, dtype=np.uint8),
        ring=np.zeros(2, dtype=np.int64),
        place_of=np.zeros(places, dtype=np.int64),
        move=np.zeros(4, dtype=np.int64),
        randomness=randomness,
    )


def begin(line: Line, descent: Descent, kicks: Kicks, order: Ints) -> None:
    """Let a search begin anew from an order, with every cut to be looked at."""
    sequence = descent.path.sequence
    sequence[1:-1] = order
    descent.place_of[sequence[:-1]] = np.arange(len(sequence) - 1)
    descent.before[:] = sequence
    descent.best[:] = sequence
    descent.costs[NOW] = descent.costs[BEFORE] = lay_out(line, descent.path, 1)
    descent.costs[BEST] = unguided(descent, kicks)
    descent.queue[:] = sequence[:-1]
    descent.queued[:] = 1
    descent.ring[HEAD], descent.ring[WAITING] = 0, len(sequence) - 1


@compiled
def unguided(descent: Descent, kicks: Kicks) -> float:
    """What the path costs without what guides the search."""
    end = descent.path.at[END_TIME, len(descent.queue) - 1]
    return float(descent.costs[NOW] - kicks.guidance * (end - kicks.process))


@compiled
def search_path(
    line: Line, descent: Descent, kicks: Kicks, near: Near, work: int, halt: NDArray[np.uint8]
) -> int:
    """Try at most so many moves; return how many, or all where the rest is too few for another cut."""
    path, costs, ring = descent.path, descent.costs, descent.ring
    places = len(path.sequence) - 1
    buffer = np.empty(places, np.int64)
    has_once = line.late_once.max() > 0.0
    most_at_cut = cut_moves(places, kicks, near)
    done = 0
    while done + most_at_cut <= work:
        if halt[0] != 0:
            return done
        if ring[WAITING] == 0:
            judge(line, descent, kicks)
            kick(line, descent, kicks, buffer)
        job = take(descent)
        place = descent.place_of[job] if job != path.sequence[0] else places
        tried = seek_any(line, descent, kicks, near, place, has_once)
        done += abs(tried)
        if tried < 0:
            put(descent, job)
            make(line, descent, buffer)
            cost = unguided(descent, kicks)
            if cost < costs[BEST] - kicks.tolerance:
                costs[BEST] = cost
                descent.best[:] = path.sequence
    return work


@compiled
def cut_moves(places: int, kicks: Kicks, near: Near) -> int:
    """Most moves that `seek_any` tries at a cut."""
    near_jobs: int = near.after.shape[1]
    short = (3 * kicks.longest_block + 2) * min(places, 2 * kicks.reach)
    return short + 2 * near_jobs * (near_jobs + 1)


@compiled
def seek_any(line: Line, descent: Descent, kicks: Kicks, near: Near, place: int, has_once: bool) -> int:
    """Moves tried until one at a cut makes the path cheaper; negative when one was found."""
    path, limit = descent.path, -kicks.tolerance
    sequence, at, sums = path
    tried = 0
    for forward in (1, -1):
        worth = near.after_worth if forward > 0 else near.before_worth
        near_jobs = near.after if forward > 0 else near.before
        found = seek_near(
            line.setup,
            sequence,
            at,
            sums,
            descent.move,
            descent.place_of,
            worth,
            near_jobs,
            place,
            forward,
            limit,
            has_once,
        )
        tried += abs(found)
        if found < 0:
            return -tried
    found = seek(
        line.setup,
        sequence,
        at,
        sums,
        descent.move,
        kicks.longest_block,
        kicks.reach,
        place,
        limit,
        has_once,
    )
    tried += abs(found)
    return -tried if found < 0 else tried


@compiled
def take(descent: Descent) -> int:
    ring = descent.ring
    job = descent.queue[ring[HEAD]]
    ring[HEAD] = (ring[HEAD] + 1) % len(descent.queue)
    ring[WAITING] -= 1
    descent.queued[job] = 0
    return int(job)


@compiled
def put(descent: Descent, job: int) -> None:
    ring = descent.ring
    if descent.queued[job] == 0:
        descent.queued[job] = 1
        descent.queue[(ring[HEAD] + ring[WAITING]) % len(descent.queue)] = job
        ring[WAITING] += 1


@compiled
def make(line: Line, descent: Descent, buffer: Ints) -> None:
    """Carry out the move at hand and queue the cuts that it changed."""
    path, move = descent.path, descent.move
    sequence = path.sequence
    for idx in range(4):
        put(descent, sequence[move[idx]])
    rearrange(sequence, buffer, move[0], move[1], move[2], move[3])
    for place in range(move[0], move[3]):
        descent.place_of[sequence[place]] = place
    descent.costs[NOW] = lay_out(line, path, move[0])


@compiled
def kick(line: Line, descent: Descent, kicks: Kicks, buffer: Ints) -> None:
    randomness, move = descent.randomness, descent.move
    places = len(descent.path.sequence) - 1
    left = 1 + draw_below(randomness, kicks.longest_kick)
    middle = draw_below(randomness, kicks.longest_kick + 1)
    right = 1 + draw_below(randomness, kicks.longest_kick)
    move[0] = 1 + draw_below(randomness, places - left - middle - right)
    move[1] = move[0] + left
    move[2] = move[1] + middle
    move[3] = move[2] + right
    make(line, descent, buffer)


@compiled
def judge(line: Line, descent: Descent, kicks: Kicks) -> None:
    """Keep the path, or take up the one before the kick."""
    path, costs = descent.path, descent.costs
    allowed = -kicks.allowance * np.log(1.0 - draw_unit(descent.randomness))
    if costs[NOW] - costs[BEFORE] > allowed:
        path.sequence[:] = descent.before
        costs[NOW] = lay_out(line, path, 1)
        for place in range(len(path.sequence) - 1):
            descent.place_of[path.sequence[place]] = place
    else:
        descent.before[:] = path.sequence
        costs[BEFORE] = costs[NOW]


@compiled
def scan(
    kind: int, length: int, place: int, places: int, reach: int
) -> tuple[int, int, int, int, int, int, int]:
    """A row of moves at a cut, as (from, to, i, j, k, end, bits): move t adds t to the cuts whose bit is set.

    Kinds: a block behind the cut goes earlier or later, a block before it earlier or later, a block from
    earlier or later comes into the cut, the job before or behind the cut changes places with an earlier or a
    later one.
    """
    first = place - length if kind == 2 or kind == 3 else place
    beyond = first + length
    if kind < 4:
        if first < 1 or beyond > places:
            return 0, 0, 0, 0, 0, 0, 0
        if kind == 0 or kind == 2:
            return max(1, first - reach), first, 0, first, first, beyond, CUT_I
        return beyond + 1, min(places, beyond + reach) + 1, first, beyond, beyond, 0, CUT_END
    if kind == 4:
        return max(1, place - length - reach), place - length, 0, length, length, place, CUT_I | CUT_J | CUT_K
    if kind == 5:
        return (
            place + 1,
            min(places - length, place + reach) + 1,
            place,
            0,
            0,
            length,
            CUT_J | CUT_K | CUT_END,
        )
    one = place if kind < 8 else place - 1
    if length > 1 or one < 1 or one >= places:
        return 0, 0, 0, 0, 0, 0, 0
    if kind == 6 or kind == 8:
        return max(1, one - reach), one - 1, 0, 1, one, one + 1, CUT_I | CUT_J
    return one + 2, min(places - 1, one + reach) + 1, one, one + 1, 0, 1, CUT_K | CUT_END


@compiled
def seek(
    setup: Floats,
    sequence: Ints,
    at: Floats,
    sums: Floats,
    move: Ints,
    longest_block: int,
    reach: int,
    place: int,
    limit: float,
    has_once: bool,
) -> int:
    """Moves tried until one at a cut changes the cost by less than the limit; negative when one was found.

    Plain arrays instead of tuples of them: handing tuples on costs more than trying a move.
    """
    places = len(sequence) - 1
    tried = 0
    for length in range(1, longest_block + 1):
        for kind in range(KINDS):
            start, stop, i, j, k, end, moving = scan(kind, length, place, places, reach)
            step_i, step_j, step_k, step_end = moving & 1, (moving >> 1) & 1, (moving >> 2) & 1, moving >> 3
            for t in range(start, stop):
                tried += 1
                cut_i, cut_j, cut_k, cut_end = (
                    i + step_i * t,
                    j + step_j * t,
                    k + step_k * t,
                    end + step_end * t,
                )
                shifts = shifts_of(setup, sequence, at, cut_i, cut_j, cut_k, cut_end)
                if change_bound(sums, cut_i, cut_j, cut_k, cut_end, shifts) >= limit:
                    continue
                if change(at, sums, cut_i, cut_j, cut_k, cut_end, shifts, limit, has_once) < limit:
                    move[0], move[1], move[2], move[3] = cut_i, cut_j, cut_k, cut_end
                    return -tried
    return tried


@compiled
def seek_near(
    setup: Floats,
    sequence: Ints,
    at: Floats,
    sums: Floats,
    move: Ints,
    place_of: Ints,
    worth: Floats,
    near_jobs: Ints,
    place: int,
    forward: int,
    limit: float,
    has_once: bool,
) -> int:
    """The same for exchanges of adjacent segments that save set-up, over near jobs alone.

    The path is read as a tour through its start. Of three set-ups (a, a'), (b, b'), (c, c') met in this order
    it makes (a, b'), (b, c'), (c, a'), as long as what was saved so far is positive. With forward −1, worth
    and near jobs towards earlier, the tour is read backwards.
    """
    places = len(sequence) - 1
    tried = 0
    side = 1 if forward > 0 else 0  # a cut has the job behind it at its place, that before it one earlier
    a, behind_a = sequence[place - side], sequence[place - 1 + side]
    out_a = worth[a, behind_a]
    for idx in range(near_jobs.shape[1]):
        behind_b = near_jobs[a, idx]
        gain_a = out_a - worth[a, behind_b]
        if gain_a <= 0.0:
            break
        tried += 1
        if behind_b == behind_a:
            continue
        cut_b = cut_at(place_of[behind_b], side, places)
        to_b = steps(place, cut_b, forward, places)
        b = sequence[cut_b - side]
        gain_b = gain_a + worth[b, behind_b]
        for other_idx in range(near_jobs.shape[1]):
            behind_c = near_jobs[b, other_idx]
            gain_c = gain_b - worth[b, behind_c]
            if gain_c <= 0.0:
                break
            tried += 1
            cut_c = cut_at(place_of[behind_c], side, places)
            if steps(place, cut_c, forward, places) <= to_b:
                continue
            c = sequence[cut_c - side]
            if gain_c + worth[c, behind_c] - worth[c, behind_a] <= 0.0:
                continue
            i, end = min(place, cut_b, cut_c), max(place, cut_b, cut_c)
            j = place + cut_b + cut_c - i - end
            shifts = shifts_of(setup, sequence, at, i, j, j, end)
            if change_bound(sums, i, j, j, end, shifts) >= limit:
                continue
            if change(at, sums, i, j, j, end, shifts, limit, has_once) < limit:
                move[0], move[1], move[2], move[3] = i, j, j, end
                return -tried
    return tried


@compiled
def cut_at(place: int, side: int, places: int) -> int:
    """The cut before a job at a place (side 1) or behind it (side 0); the start, at 0, is the end as well."""
    cut = place + 1 - side
    return cut if cut > 0 else places


@compiled
def steps(one: int, other: int, forward: int, places: int) -> int:
    """From one cut to another in a direction around the tour."""
    between = (other - one) * forward
    return between if between >= 0 else between + places
