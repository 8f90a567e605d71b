"""Queues while a sequence is in force that was made for nearly the same jobs."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

from solver.baselines import as_in_force
from solver.in_force import InForce, RunInForce
from solver.locks import Started
from solver.problem import Problem
from solver.search.compile import CompiledPlant
from solver.search.kernels.tables import Ints
from solver.sequence import Order, Placement
from tests.builders.days import drawn_lots

PRICES_EUR = (Fraction(10), Fraction(7, 3), Fraction(400))


def in_force_of(problem: Problem, order: Order) -> InForce:
    """An order of a queue as the sequence in force."""
    return InForce(tuple(tuple(_run(problem, placed) for placed in placements) for placements in order))


def _run(problem: Problem, placed: Placement) -> RunInForce:
    return RunInForce(problem.jobs[placed.job_idx].id, placed.stations, placed.lot)


def while_in_force(problem: Problem, in_force: InForce | None, moved_run_eur: Fraction) -> Problem:
    """A queue while a sequence is in force."""
    plant = replace(problem.plant, moved_run_eur=moved_run_eur)
    return Problem(plant, problem.jobs, problem.locks, in_force)


def while_drawn_in_force(problem: Problem, seed: int) -> Problem:
    """A queue while a drawn sequence is in force, which lacks some of its jobs, has some that are done by
    now, of others stations that nobody noted, and of one what has started anywhere.
    """
    rng = random.Random(f"in force {seed}")
    new = {job.id for job in problem.jobs if rng.random() < 0.2}
    lines: list[list[RunInForce]] = []
    for runs in in_force_of(problem, drawn_lots(problem, seed)).lines:
        kept = [replace(run, stations=None) if rng.random() < 0.3 else run for run in runs]
        lines.append([run for run in kept if run.job not in new])
    started = [lock for lock in problem.locks if isinstance(lock, Started)]
    for lock in started:
        if rng.random() < 0.6:
            lines[:] = [[run for run in runs if run.job != lock.job] for runs in lines]
            lines[problem.line_idx[lock.line]].insert(0, RunInForce(lock.job))
    for number in range(3):
        line = rng.choice(lines)
        line.insert(rng.randrange(len(line) + 1), RunInForce(f"done-{number}"))
    return while_in_force(problem, InForce(tuple(map(tuple, lines))), rng.choice(PRICES_EUR))


def numbers_near_in_force(compiled: CompiledPlant, rng: random.Random, most_moves: int = 4) -> Ints:
    """The order in force with the queue's other jobs behind it, then changed in a few places."""
    order = as_in_force(compiled.problem)
    if order is None:
        raise ValueError("no sequence is in force")
    orders = [list(map(int, numbers)) for numbers in compiled.line_numbers(compiled.numbers(order))]
    for _ in range(rng.randrange(most_moves + 1)):
        line = rng.choice(orders)
        if line:
            line.insert(rng.randrange(len(line)), line.pop(rng.randrange(len(line))))
    return compiled.numbered(orders)
