"""Every single run at every other place, each costed by the account: for checks by brute force."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from solver.account import account
from solver.feasibility import station_choices
from solver.locks import Started
from solver.problem import Problem
from solver.sequence import Order, Sequence
from solver.weights import Weights

Moved = tuple[str, int, int, Sequence]
"""The job that was moved, line and position where it is then, and the sequence."""


def every_single_move(problem: Problem, order: Order, weights: Weights) -> Iterator[Moved]:
    """Every other order in which one run is elsewhere, behind started runs."""
    started = {problem.job_idx[lock.job] for lock in problem.locks if isinstance(lock, Started)}
    for line_idx, placements in enumerate(order):
        for position, placement in enumerate(placements):
            if placement.job_idx in started:
                continue
            rest = [list(others) for others in order]
            del rest[line_idx][position]
            for to_line, others in enumerate(rest):
                first = int(bool(others) and others[0].job_idx in started)
                for to_position in range(first, len(others) + 1):
                    if (to_line, to_position) == (line_idx, position):
                        continue
                    for stations in station_choices(problem, to_line, placement.job_idx):
                        after = [list(row) for row in rest]
                        after[to_line].insert(to_position, replace(placement, stations=stations))
                        sequence = account(problem, tuple(map(tuple, after)), weights)
                        yield problem.jobs[placement.job_idx].id, to_line, to_position, sequence
