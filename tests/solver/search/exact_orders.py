"""Least values of small queues, by trying every order and by dynamic programming, apart from the search."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np

from solver.search.matrix import MatrixProblem

Matrix = Sequence[Sequence[int]]


def drawn_problem(seed: int, jobs: int, *, closed: bool = False, due: bool = False) -> MatrixProblem:
    """A small queue with numbers in a range that makes set-ups, lateness and ties all matter."""
    random = np.random.default_rng(seed)
    setup = random.integers(0, 12, (jobs, jobs))
    if closed:
        return MatrixProblem(setup, closed=True)
    initial = random.integers(0, 12, jobs)
    if not due:
        return MatrixProblem(setup, initial)
    process = random.integers(1, 15, jobs)
    return MatrixProblem(
        setup,
        initial,
        process=process,
        due=random.integers(-5, 14 * jobs, jobs),
        weight=random.integers(0, 6, jobs),
    )


def least_of_all_orders(problem: MatrixProblem) -> int:
    """The least value among all orders."""
    return min(_value(problem, order) for order in permutations(range(len(problem))))


def _value(problem: MatrixProblem, order: tuple[int, ...]) -> int:
    setup, initial, process, due, weight = (array.tolist() for array in vars(problem.arrays).values())
    total, now = 0, 0
    for place, job in enumerate(order):
        gap = setup[order[place - 1]][job] if place or problem.closed else initial[job]
        now += gap + process[job]
        total += weight[job] * max(0, now - due[job]) if problem.has_due_times else gap
    return int(total)


def least_setup(problem: MatrixProblem) -> int:
    """The least sum of set-ups (Held and Karp, Journal of SIAM 10, 1962): over sets and last jobs."""
    setup, initial = problem.arrays.setup.tolist(), problem.arrays.initial.tolist()
    jobs = range(len(problem))
    reached = {(1 << job, job): initial[job] for job in (jobs[:1] if problem.closed else jobs)}
    for done in range(1, 1 << len(problem)):
        for last in jobs:
            if (done, last) not in reached:
                continue
            for job in jobs:
                if not done >> job & 1:
                    key = (done | 1 << job, job)
                    value = reached[done, last] + setup[last][job]
                    reached[key] = min(value, reached.get(key, value))
    everything = (1 << len(problem)) - 1
    ends = [last for last in jobs if (everything, last) in reached]
    return int(min(reached[everything, last] + setup[last][0] * problem.closed for last in ends))


def least_late_cost(problem: MatrixProblem) -> int:
    """The least late cost: over sets of jobs and the last one, all pairs of time and cost that could pay."""
    setup, initial, process, due, weight = (array.tolist() for array in vars(problem.arrays).values())
    jobs = range(len(problem))
    states: dict[tuple[int, int], list[tuple[int, int]]] = {(0, -1): [(0, 0)]}
    for done_count in range(len(problem)):
        following: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for (done, last), pairs in states.items():
            if done.bit_count() != done_count:
                continue
            for job in jobs:
                if done >> job & 1:
                    continue
                gap = setup[last][job] if last >= 0 else initial[job]
                ends = [(now + gap + process[job], cost) for now, cost in pairs]
                following.setdefault((done | 1 << job, job), []).extend(
                    (end, cost + weight[job] * max(0, end - due[job])) for end, cost in ends
                )
        states = {key: _not_dominated(pairs) for key, pairs in following.items()}
    return int(min(cost for pairs in states.values() for _, cost in pairs))


def _not_dominated(pairs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    kept: list[tuple[int, int]] = []
    for now, cost in sorted(pairs):
        if not kept or cost < kept[-1][1]:
            kept.append((now, cost))
    return kept
