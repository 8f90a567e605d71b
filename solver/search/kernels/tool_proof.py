"""The fewest tool switches of a few jobs: every beginning of an order, as long as it can still pay.

A beginning is passed over where one of two bounds shows that nothing better than the best follows:

- its switches and those of the cheapest path through the other jobs, from one to the next at least
  max(0, |tools of both| − stations);
- loads that are certain: those it has, one for every tool that is still needed and can no longer be kept, and
  one for every tool too many among those that can, less the first loads that are free.

An order and its reverse take the same switches, so only one of the two is looked at.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.search.kernels.compiled import compiled, part
from solver.search.kernels.tool_switching import (
    COUNTS,
    FULL,
    KEPT,
    NEEDED,
    Ints,
    Needs,
    Shorts,
    place_behind,
    switches,
)


class Proof(NamedTuple):
    """Where a proof stands, so that it can go on at any beginning.

    Parameters
    ----------
    order, best
        The beginning at hand and the best whole order.
    following
        By its length: the job that it is tried with next.
    taken
        Whether a job is in it.
    left
        How many jobs outside it need a tool.
    rest
        (sets of jobs, jobs): switches of the cheapest path from a job through a set, by pairs.
    room, last, counted
        As in a search.
    numbers
        By `LENGTH` and what follows it.
    """

    order: Ints
    best: Ints
    following: Ints
    taken: Ints
    left: Ints
    rest: Ints
    room: Shorts
    last: Shorts
    counted: Ints
    numbers: Ints


LENGTH, FEWEST, OTHERS = 0, 1, 2
"""Jobs in the beginning, −1 once all were tried; switches of the best; the other jobs as a set of bits."""


def begun_proof(needs: Needs, order: Ints, fewest: int, pairs: Ints) -> Proof:
    """A proof that begins with an order, what it takes, and what every two jobs take at least."""
    jobs, tools = len(order), int(needs.tools.max()) + 1
    return Proof(
        order=np.zeros(jobs, np.int64),
        best=order.copy(),
        following=np.zeros(jobs + 1, np.int64),
        taken=np.zeros(jobs, np.int64),
        left=np.bincount(needs.tools, minlength=tools).astype(np.int64),
        rest=cheapest_paths(pairs),
        room=np.zeros((jobs + 1, jobs), np.int16),
        last=np.full((jobs + 1, tools), -1, np.int16),
        counted=np.zeros((jobs + 1, COUNTS), np.int64),
        numbers=np.array([0, fewest, (1 << jobs) - 1], np.int64),
    )


@compiled
def cheapest_paths(pairs: Ints) -> Ints:
    """(sets of jobs, jobs): the cheapest path from a job through all of a set, which it is not in (Held and
    Karp, Journal of SIAM 10, 1962).
    """
    jobs = len(pairs)
    rest = np.zeros((1 << jobs, jobs), np.int64)
    for members in range(1, 1 << jobs):
        for job in range(jobs):
            cheapest = np.int64(1 << 60)
            for following in range(jobs):
                if members >> following & 1:
                    path = pairs[job, following] + rest[members & ~(1 << following), following]
                    cheapest = min(cheapest, path)
            rest[members, job] = cheapest
    return rest


@compiled
def go_on(needs: Needs, proof: Proof, work: int) -> int:
    """Try so many more beginnings, or fewer once there are no more; return how many."""
    order, following, taken, numbers = proof.order, proof.following, proof.taken, proof.numbers
    jobs, done = len(order), 0
    while done < work and numbers[LENGTH] >= 0:
        length = numbers[LENGTH]
        job = following[length]
        if job == jobs:
            numbers[LENGTH] -= 1
            if length > 0:
                take(needs, proof, order[length - 1], 0)
            continue
        following[length] += 1
        is_a_reverse = length == jobs - 1 and job < order[0]
        if taken[job] != 0 or is_a_reverse:
            continue
        done += 1
        place_behind(needs, proof.room, proof.last, proof.counted, length, job)
        if at_least(needs, proof, length, job) >= numbers[FEWEST]:
            continue
        order[length] = job
        if length == jobs - 1:
            numbers[FEWEST] = switches(needs, proof.counted[jobs])
            proof.best[:] = order
            continue
        take(needs, proof, job, 1)
        numbers[LENGTH] += 1
        following[length + 1] = 0
    return done


@part
def take(needs: Needs, proof: Proof, job: int, taken: int) -> None:
    """Put a job into the beginning (1) or take it out (0)."""
    proof.taken[job] = taken
    proof.numbers[OTHERS] ^= 1 << job
    for idx in range(needs.first[job], needs.first[job + 1]):
        proof.left[needs.tools[idx]] += 1 - 2 * taken


@part
def at_least(needs: Needs, proof: Proof, at: int, job: int) -> int:
    """Fewest switches of any order that begins as far as to a job at a position, which was counted."""
    counts, last, left = proof.counted[at + 1], proof.last[at + 1], proof.left
    by_pairs = switches(needs, counts) + proof.rest[proof.numbers[OTHERS] & ~(1 << job), job]
    gone, carried = 0, 0
    for tool in range(len(left)):
        if left[tool] == 0 or last[tool] == at:
            continue
        if last[tool] < counts[FULL]:
            gone += 1
        else:
            carried += 1
    here = needs.first[job + 1] - needs.first[job]
    too_many = max(0, carried - (needs.stations[0] - here))
    loads = counts[NEEDED] - counts[KEPT] + gone + too_many
    return int(max(by_pairs, loads - min(len(left), needs.stations[0])))
