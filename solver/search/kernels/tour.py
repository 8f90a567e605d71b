"""Closed tours of least set-up: iterated local search by exchanges of adjacent segments.

A tour is an array of places in order and its inverse. Arcs have a direction, so no segment is ever reversed.
An exchange of two adjacent segments takes out three arcs (a, a'), (b, b'), (c, c'), met in this order, and
puts in (a, b'), (b, c'), (c, a'): the one three-arc move without reversal. It is sought arc by arc, over near
successors or near predecessors alone, while the partial gain is positive (Lin and Kernighan, Operations
Research 21, 1973; for arcs with a direction Johnson, Gutin, McGeoch, Yeo, Zhang and Zverovitch in The
Traveling Salesman Problem and Its Variations, 2002). A kick puts three short adjacent segments in reverse
order, which takes out four arcs, so no single move undoes it. Changes are logged, so a tour that is not kept
costs little to undo.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from solver.search.kernels.compiled import compiled
from solver.search.kernels.randomness import draw_below, draw_unit
from solver.search.kernels.tables import Randomness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Arcs(NamedTuple):
    """Costs of arcs from the place of the row to the place of the column, and every place's near places.

    out_near[a] holds the places that a is best followed by, in_near[a] those that best come before it; both
    cheapest first.
    """

    cost: Floats
    out_near: Ints
    in_near: Ints


class Tour(NamedTuple):
    """Where a search stands, so that it can go on at any move."""

    order: Ints
    position: Ints
    best: Ints
    costs: Floats
    """Now, before the kick (infinite: there was none), at best."""
    queue: Ints
    """Places whose arcs are to be looked at: a ring."""
    queued: NDArray[np.uint8]
    counts: Ints
    """Head of the ring, how many wait in it, changes in the log."""
    log: Ints
    """Changes since the kick, as `swap` takes them."""
    buffer: Ints
    move: Ints
    """Places a, b, c of the move at hand."""
    randomness: Randomness


NOW, BEFORE, BEST = 0, 1, 2
HEAD, WAITING, LOGGED = 0, 1, 2
LOGGED_A_PLACE, LOGGED_AT_LEAST = 2, 64


def empty_tour(places: int, randomness: Randomness) -> Tour:
    """Room for a search of tours; `begin` starts it."""
    return Tour(
        order=np.zeros(places, dtype=np.int64),
        position=np.zeros(places, dtype=np.int64),
        best=np.zeros(places, dtype=np.int64),
        costs=np.full(3, np.inf),
        queue=np.zeros(places, dtype=np.int64),
        queued=np.zeros(places, dtype=np.uint8),
        counts=np.zeros(3, dtype=np.int64),
        log=np.zeros((LOGGED_AT_LEAST + LOGGED_A_PLACE * places, 3), dtype=np.int64),
        buffer=np.zeros(places, dtype=np.int64),
        move=np.zeros(3, dtype=np.int64),
        randomness=randomness,
    )


def begin(arcs: Arcs, tour: Tour, order: Ints) -> None:
    """Let a search go on from an order, with every arc to be looked at; its best stays the best."""
    tour.order[:] = order
    tour.position[order] = np.arange(len(order))
    tour.queue[:] = order
    tour.queued[:] = 1
    tour.counts[:] = 0, len(order), 0
    tour.costs[NOW], tour.costs[BEFORE] = tour_cost(arcs.cost, tour.order), np.inf
    if tour.costs[NOW] < tour.costs[BEST]:
        tour.costs[BEST] = tour.costs[NOW]
        tour.best[:] = order


@compiled
def tour_cost(cost: Floats, order: Ints) -> float:
    """Σ cost of a tour's arcs."""
    total = cost[order[-1], order[0]]
    for place in range(len(order) - 1):
        total += cost[order[place], order[place + 1]]
    return float(total)


@compiled
def search_tour(
    arcs: Arcs,
    tour: Tour,
    longest_kick: int,
    allowance: float,
    tolerance: float,
    work: int,
    halt: NDArray[np.uint8],
) -> int:
    """Try at most so many moves; return how many, or all of them where the rest is too few for another place.

    Parameters
    ----------
    longest_kick
        Longest of the three segments that a kick reorders; three of them must leave a place over.
    allowance
        Mean of how much dearer a tour may be that is kept after a kick (exponentially distributed).
    tolerance
        A change within it is none.
    """
    costs, counts = tour.costs, tour.counts
    near = arcs.out_near.shape[1]
    done = 0
    while done + 2 * near * (near + 1) <= work:
        if halt[0] != 0:
            return done
        if counts[WAITING] == 0:
            judge(tour, allowance)
            kick(arcs.cost, tour, longest_kick)
        place = take(tour.queue, tour.queued, counts)
        gain, tried = gain_from(
            arcs.cost, arcs.out_near, tour.order, tour.position, tour.move, place, tolerance, 1
        )
        done += tried
        other_gain, tried = gain_from(
            arcs.cost.T, arcs.in_near, tour.order, tour.position, tour.move, place, max(gain, tolerance), -1
        )
        done += tried
        gain = max(gain, other_gain)
        if gain > tolerance:
            make(tour)
            costs[NOW] -= gain
            if costs[NOW] < costs[BEST] - tolerance:
                costs[BEST] = costs[NOW]
                tour.best[:] = tour.order
    return work


@compiled
def take(queue: Ints, queued: NDArray[np.uint8], counts: Ints) -> int:
    """The place that has waited longest."""
    place = queue[counts[HEAD]]
    counts[HEAD] = around(counts[HEAD] + 1, len(queue))
    counts[WAITING] -= 1
    queued[place] = 0
    return int(place)


@compiled
def put(queue: Ints, queued: NDArray[np.uint8], counts: Ints, place: int) -> None:
    """Queue a place, unless it waits already."""
    if queued[place] == 0:
        queued[place] = 1
        queue[(counts[HEAD] + counts[WAITING]) % len(queue)] = place
        counts[WAITING] += 1


@compiled
def gain_from(
    cost: Floats,
    near_places: Ints,
    order: Ints,
    position: Ints,
    move: Ints,
    a: int,
    least: float,
    forward: int,
) -> tuple[float, int]:
    """Gain of the best exchange without the arc from a place, 0 if not above the least; and moves tried.

    With costs transposed, near predecessors and forward −1 the same is sought along the tour read backwards,
    that is for the arc into a place. The move's places are then read backwards too, and noted forwards.
    """
    places = len(order)
    best, tried = 0.0, 0
    at_a = position[a]
    behind_a = order[around(at_a + forward, places)]
    out_a = cost[a, behind_a]
    for idx in range(near_places.shape[1]):
        behind_b = near_places[a, idx]
        gain_a = out_a - cost[a, behind_b]
        if gain_a <= least:
            break
        tried += 1
        if behind_b == behind_a:
            continue
        at_behind_b = position[behind_b]
        b = order[around(at_behind_b - forward, places)]
        to_b = (at_behind_b - at_a) * forward
        if to_b < 0:
            to_b += places
        gain_b = gain_a + cost[b, behind_b]
        for other_idx in range(near_places.shape[1]):
            behind_c = near_places[b, other_idx]
            gain_c = gain_b - cost[b, behind_c]
            if gain_c <= least:
                break
            tried += 1
            at_behind_c = position[behind_c]
            to_c = (at_behind_c - at_a) * forward
            if to_c <= 0:
                to_c += places
            if to_c <= to_b:
                continue
            c = order[around(at_behind_c - forward, places)]
            gain = gain_c + cost[c, behind_c] - cost[c, behind_a]
            if gain > least:
                least = best = gain
                if forward > 0:
                    move[0], move[1], move[2] = a, b, c
                else:
                    move[0], move[1], move[2] = behind_c, behind_b, behind_a
    return best, tried


@compiled
def make(tour: Tour) -> None:
    """Carry out the move at hand and queue the ends of the arcs taken out."""
    order, queue, queued, counts, places = tour.order, tour.queue, tour.queued, tour.counts, len(tour.order)
    at_a, at_b, at_c = tour.position[tour.move[0]], tour.position[tour.move[1]], tour.position[tour.move[2]]
    for at in (at_a, at_b, at_c):
        put(queue, queued, counts, order[at])
        put(queue, queued, counts, order[around(at + 1, places)])
    exchange(tour, (at_a + 1) % places, (at_b - at_a) % places, (at_c - at_b) % places)


@compiled
def kick(cost: Floats, tour: Tour, longest_kick: int) -> None:
    """Put three adjacent segments in reverse order and queue the ends of the four arcs taken out."""
    order, places = tour.order, len(tour.order)
    first = draw_below(tour.randomness, places)
    lengths = (
        1 + draw_below(tour.randomness, longest_kick),
        1 + draw_below(tour.randomness, longest_kick),
        1 + draw_below(tour.randomness, longest_kick),
    )
    at = first
    ends = np.empty((4, 2), np.int64)
    for idx in range(4):
        ends[idx, 0], ends[idx, 1] = order[at - 1], order[at]
        put(tour.queue, tour.queued, tour.counts, order[at - 1])
        put(tour.queue, tour.queued, tour.counts, order[at])
        if idx < 3:
            at = (at + lengths[idx]) % places
    for idx in range(4):
        tour.costs[NOW] -= cost[ends[idx, 0], ends[idx, 1]]
    tour.costs[NOW] += cost[ends[0, 0], ends[2, 1]] + cost[ends[3, 0], ends[1, 1]]
    tour.costs[NOW] += cost[ends[2, 0], ends[0, 1]] + cost[ends[1, 0], ends[3, 1]]
    exchange(tour, first, lengths[0], lengths[1] + lengths[2])
    exchange(tour, int(tour.position[ends[1, 1]]), lengths[1], lengths[2])


@compiled
def judge(tour: Tour, allowance: float) -> None:
    """Keep the tour, or undo all changes since the kick."""
    costs, counts = tour.costs, tour.counts
    allowed = -allowance * np.log(1.0 - draw_unit(tour.randomness))
    if costs[NOW] - costs[BEFORE] > allowed:
        while counts[LOGGED] > 0:
            counts[LOGGED] -= 1
            first, left, right = tour.log[counts[LOGGED]]
            swap(tour.order, tour.position, tour.buffer, first, right, left)
        costs[NOW] = costs[BEFORE]
    counts[LOGGED] = 0
    costs[BEFORE] = costs[NOW]


@compiled
def exchange(tour: Tour, first: int, left: int, right: int) -> None:
    """Exchange two adjacent segments, given by position and lengths, in the way that moves least, and log it.

    In a ring, exchanging any two of the three segments that it is cut into comes to the same.
    """
    places = len(tour.order)
    rest = places - left - right
    if left >= right and left >= rest:
        first, left, right = first + left, right, rest
    elif right >= rest:
        first, left, right = first - rest, rest, left
    first %= places
    swap(tour.order, tour.position, tour.buffer, first, left, right)
    counts = tour.counts
    if counts[LOGGED] == len(tour.log):
        forget(tour)
    log = tour.log[counts[LOGGED]]
    log[0], log[1], log[2] = first, left, right
    counts[LOGGED] += 1


@compiled
def forget(tour: Tour) -> None:
    """A full log: what is there is kept, whatever it costs. Only a first descent gets as far as this."""
    tour.counts[LOGGED] = 0
    tour.costs[BEFORE] = np.inf


@compiled
def swap(order: Ints, position: Ints, buffer: Ints, first: int, left: int, right: int) -> None:
    """Exchange the `left` places from a position on with the `right` places behind them."""
    places = len(order)
    waiting, moving = (left, right) if left <= right else (right, left)
    step = 1 if left <= right else -1
    to = first if step > 0 else (first + left + right - 1) % places
    at = to
    for idx in range(waiting):
        buffer[idx] = order[at]
        at = around(at + step, places)
    for _ in range(moving):
        place = order[at]
        order[to] = place
        position[place] = to
        at = around(at + step, places)
        to = around(to + step, places)
    for idx in range(waiting):
        place = buffer[idx]
        order[to] = place
        position[place] = to
        to = around(to + step, places)


@compiled
def around(at: int, places: int) -> int:
    """A position at most one step outside the ring, brought back into it."""
    if at == places:
        return 0
    return places - 1 if at < 0 else at
