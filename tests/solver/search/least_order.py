"""The least order of a small queue on one line, by walking through all orders and stations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solver.lock_keeping import PlacedJob, broken_locks
from solver.locks import Started
from solver.search.compile import CompiledLine
from solver.search.decode import NO_LIMIT, Decoder
from solver.search.kernels.tables import DROPPED, Ints

START, END = 0, 2
"""Columns of a trace."""


@dataclass(frozen=True)
class LeastOrder:
    """An order that no other one undercuts: jobs left out and locks broken, then cost."""

    faults: int
    eur: float
    numbers: Ints


@dataclass(frozen=True)
class _Placed:
    """A beginning of an order; `left_out` are positions of runs that can never start."""

    numbers: tuple[int, ...]
    left_out: frozenset[int]
    state: Ints
    eur: float


def least_order(compiled: CompiledLine) -> LeastOrder:
    """The best of all orders of all jobs that can run, at all their stations."""
    return _EveryOrder(compiled).least()


class _EveryOrder:
    """A depth-first walk: every job that is left, at each of its stations, behind every beginning.

    A beginning is passed over only where it has as many faults and costs as much already as the best whole
    order: no run takes a fault or a cost away. Locks that a beginning breaks are looked for where more than
    one run comes behind it; that takes longer than to place a run.
    """

    def __init__(self, compiled: CompiledLine) -> None:
        self._compiled = compiled
        self._decoder = Decoder(compiled)
        # Another one, for a whole order leaves the jobs marked that it leaves out.
        self._whole_decoder = Decoder(compiled)
        ranges = [(first, last) for first, last in compiled.job_plans.tolist() if last > first]
        self._jobs = len(ranges)
        self._choices = [tuple(range(first, last)) for first, last in ranges]
        self._order = np.zeros(self._jobs, np.int64)
        self._best = LeastOrder(self._jobs + len(compiled.problem.locks) + 1, NO_LIMIT, np.zeros(0, np.int64))

    def least(self) -> LeastOrder:
        """The best of all."""
        start = _Placed((), frozenset(), self._compiled.state, self._compiled.eur)
        self._walk(start, frozenset(range(self._jobs)))
        return self._best

    def _walk(self, before: _Placed, waiting: frozenset[int]) -> None:
        if not waiting:
            self._compare(before)
            return
        if len(waiting) > 1 and (self._faults(before), before.eur) >= (self._best.faults, self._best.eur):
            return
        following = [(self._appended(before, plan), job) for job in waiting for plan in self._choices[job]]
        # The cheapest first, so that a good order is there early.
        for placed, job in sorted(following, key=lambda each: (len(each[0].left_out), each[0].eur, each[1])):
            if (len(placed.left_out), placed.eur) < (self._best.faults, self._best.eur):
                self._walk(placed, waiting - {job})

    def _appended(self, before: _Placed, plan: int) -> _Placed:
        at, numbers = len(before.numbers), (*before.numbers, plan)
        self._order[at] = plan
        code, _, state, eur = self._decoder.place(before.state, before.eur, self._order[: at + 1], at)
        if code == DROPPED:
            return _Placed(numbers, before.left_out | {at}, before.state, before.eur)
        return _Placed(numbers, before.left_out, state, eur)

    def _compare(self, whole: _Placed) -> None:
        eur = whole.eur + self._decoder.clean_down_eur(whole.state)
        numbers = np.array(whole.numbers, np.int64)
        faults = self._faults(whole)
        if (faults, eur) < (self._best.faults, self._best.eur):
            self._best = LeastOrder(faults, eur, numbers)

    def _faults(self, placed: _Placed) -> int:
        return len(placed.left_out) + self._broken(placed)

    def _broken(self, placed: _Placed) -> int:
        """Locks that an order, or its beginning, breaks, by its times placed anew."""
        problem = self._compiled.problem
        if not problem.locks:
            return 0
        line = problem.plant.lines[0].id
        jobs = [
            PlacedJob(lock.job, line, 0, lock.changeover_start_ms, lock.end_ms)
            for lock in problem.locks
            if isinstance(lock, Started)
        ]
        trace = self._whole_decoder.decode(np.array(placed.numbers, np.int64)).trace
        position = 0
        for at, number in enumerate(placed.numbers):
            if at not in placed.left_out:
                position += 1
                job = problem.jobs[self._compiled.plans[number].placement.job_idx].id
                jobs.append(PlacedJob(job, line, position, int(trace[at, START]), int(trace[at, END])))
        return len(broken_locks(problem.locks, jobs))
