"""Proofs that no order is cheaper, tried beside the islands of one search with growing effort.

A proof needs a good order to begin with, for what costs as much already need not be looked at. So the first
is tried behind a few rounds, and the next, four times as dear, when the rounds since then have taken long
enough. Efforts are counted in what does not depend on the machine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from solver.search.bounding import MARGIN
from solver.search.islands import Found, Halt, Order, Scored
from solver.search.stop import Stop

FIRST_ROUND = 3
"""Rounds before the first proof is tried."""
FIRST_EFFORT, GROWTH = 0.1, 4.0
EFFORT_A_ROUND = 0.1
"""By how much a round lets the efforts of all proofs together grow: a quarter of what its islands take."""
LEAST_TIME_S = 0.5
"""With less time left no proof is begun: what proofs need is made first, and cannot be told to end."""

Ended = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Answer:
    """What the search for an order below a cost came to.

    Parameters
    ----------
    order
        A cheaper order, with its cost; None: none was found.
    is_certain
        Whether no order is cheaper than this one, or, without one, than the cost asked for.
    """

    order: Order | None
    is_certain: bool
    cost: float = 0.0


UNCERTAIN, NONE_CHEAPER = Answer(None, False), Answer(None, True)


class Prover(Protocol):
    """Looks for cheaper orders without leaving one out."""

    most_effort: float
    """With more than this it is not asked; effort is counted in roughly a second."""

    def least(self) -> float:
        """What no order undercuts, known without effort."""
        ...

    def cheaper(self, undercut: float, order: Order, effort: float, ended: Ended) -> Answer:
        """The cheapest order that costs less than `undercut`; `order` is the cheapest so far. It is asked
        now and then whether to end.
        """
        ...


class Proving:
    """The proofs of one search.

    Attributes
    ----------
    value
        What no order undercuts; None: nothing is proved.
    """

    def __init__(self, prover: Prover, below: Callable[[float], float], stop: Stop, halt: Halt) -> None:
        """`below` gives the cost that whatever is cheaper than an order undercuts."""
        self._stop = stop
        self.value: float | None = None
        self._prover = prover
        self._below = below
        self._halt = halt
        self._rounds = 0
        self._spent = 0.0
        self._effort = FIRST_EFFORT

    def begin(self, found: Found) -> Callable[[], Scored | None] | None:
        """The next proof, if it is time for one: a task that hands back a cheaper order where it finds one.
        Asked before every round.
        """
        self._rounds += 1
        effort = self._effort
        is_faulty = any(found.score[:-1])
        is_early = self._rounds <= FIRST_ROUND or self._spent > EFFORT_A_ROUND * self._rounds
        time_s = self._stop.time_s
        is_late = time_s is not None and time_s - self._stop.elapsed_s < LEAST_TIME_S
        if is_faulty or is_early or is_late or effort > self._prover.most_effort:
            return None
        self._spent += effort
        self._effort *= GROWTH
        return lambda: self._proved(found, effort)

    def _proved(self, found: Found, effort: float) -> Scored | None:
        undercut = self._below(found.score[-1])
        answer = self._prover.cheaper(undercut, found.order, effort, lambda: bool(self._halt[0]))
        least = self._prover.least()
        if answer.is_certain:
            least = undercut if answer.order is None else self._below(answer.cost)
        self.value = least if self.value is None else max(self.value, least)
        return None if answer.order is None else ((*found.score[:-1], answer.cost), answer.order)


def by_margin(cost: float) -> float:
    """The cost below which one that is a sum in floating point is less."""
    return cost * (1 - MARGIN)
