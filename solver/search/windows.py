"""Stretches of the best order of a line, re-ordered exactly beside the islands.

A window of a few neighbouring runs slides over the order. Each of its orders is placed in time with all that
comes behind it, and the best is kept. Where queues are long annealing leaves such gains lying: it draws its
changes, and cheap ones that remain are seldom drawn. The islands go their own ways: going on from what is
found here gained nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property
from itertools import permutations
from typing import NamedTuple

import numpy as np

from solver.search.bounding import MARGIN
from solver.search.compile import CompiledLine
from solver.search.decode import Decoder
from solver.search.islands import Found, Halt, Scored
from solver.search.kernels.tables import DONE, Ints

WIDTH = 5
"""Runs of a window."""
TRIAL_RUNS = 100
"""A trial takes as long as placing so many runs, beside those it places."""
RUNS_A_ROUND = 500_000
"""By how many runs a round lets all trials together grow: a twentieth of what its islands take."""


class _Before(NamedTuple):
    """A line before a position of its order, and its cost so far."""

    at: int
    state: Ints
    eur: float


class Windows:
    """Windows over the best orders of one search; of queues with locks none, for whether an order keeps them
    is not looked at, and none where a job may be split, whose lots are late together.
    """

    def __init__(self, compiled: CompiledLine, halt: Halt) -> None:
        self._compiled = compiled
        self._halt = halt
        self._rounds = 0
        self._placed = 0
        self._settled_eur = np.inf

    def begin(self, found: Found) -> Callable[[], Scored | None] | None:
        """A pass over the best order there is, if it is time for one and windows of that order may gain.
        Asked before every round.
        """
        self._rounds += 1
        faults, eur = found.score
        is_early = self._placed > RUNS_A_ROUND * self._rounds
        may_be_more = self._compiled.problem.locks or self._compiled.plant.splittable
        if may_be_more or faults or is_early or eur >= self._settled_eur:
            return None
        return lambda: self._pass(found)

    @cached_property
    def _decoder(self) -> Decoder:
        """Made in the thread that needs it."""
        return Decoder(self._compiled)

    def _pass(self, found: Found) -> Scored | None:
        plant, eur = self._compiled.plant, found.score[-1]
        gained = self._one_pass(plant.line_numbers(found.order)[0], eur)
        if gained is None:
            self._settled_eur = eur
            return None
        order, eur = gained
        return (0.0, eur), plant.numbered([order.tolist()])

    def _one_pass(self, order: Ints, eur: float) -> tuple[Ints, float] | None:
        """The order after each window once, and its cost; None where that is as it was, or told to end."""
        best, best_eur = order, eur
        before = _Before(0, self._compiled.state, self._compiled.eur)
        for at in range(len(order) - 1):
            for trial in _reordered(best, at):
                trial_eur = self._whole_eur(before, trial, best_eur)
                if trial_eur < best_eur * (1 - MARGIN):
                    best, best_eur = trial, trial_eur
            if self._halt[0]:
                break
            before = self._behind(before, best)
        return None if best is order else (best, best_eur)

    def _whole_eur(self, before: _Before, order: Ints, limit_eur: float) -> float:
        """What an order costs; infinite above the limit and where a run can never start."""
        self._placed += len(order) - before.at + TRIAL_RUNS
        code, _, state, eur = self._decoder.place(before.state, before.eur, order, before.at, limit_eur)
        return eur + self._decoder.clean_down_eur(state) if code == DONE else np.inf

    def _behind(self, before: _Before, order: Ints) -> _Before:
        """The line behind the next run."""
        at = before.at + 1
        _, _, state, eur = self._decoder.place(before.state, before.eur, order[:at], before.at)
        return _Before(at, state, eur)


def _reordered(order: Ints, at: int) -> Iterator[Ints]:
    """The order with the window at a position in every order that does not begin as it does: those that do
    are tried at the next position.
    """
    window = order[at : at + WIDTH].tolist()
    for numbers in permutations(window):
        if numbers[0] != window[0]:
            trial = order.copy()
            trial[at : at + WIDTH] = numbers
            yield trial
