"""The search, assembled: construct, improve, and cost what comes out with the account."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from solver.account import account_with
from solver.baselines import as_entered, by_due_time
from solver.lock_conflicts import arrangement, conflicting_locks
from solver.locks import Lock
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.construct import first_orders
from solver.search.evaluate import Evaluator, Plans, Score, order_of
from solver.search.improve import Improver
from solver.search.stop import Stop
from solver.sequence import Sequence
from solver.weights import Weights

POLISH_SWEEPS = 1.25
"""Sweeps over all moves of the best order for which work or time is kept at the end."""
MOST_POLISH_SHARE = 0.5
"""Share of the limits that is kept for them at most."""


class Status(StrEnum):
    """How a search came out."""

    FOUND = "found"
    NOTHING_RUNS = "nothing can run"


class ContradictoryLocksError(ValueError):
    """Locks that cannot all be kept; `locks` names a least set of them."""

    def __init__(self, locks: tuple[Lock, ...]) -> None:
        self.locks = locks
        super().__init__("these locks cannot all be kept: " + "; ".join(map(str, locks)))


@dataclass(frozen=True, slots=True)
class Progress:
    """What a search has so far. `bound` is None while nothing is proved."""

    best_eur: float
    left_out: int
    work: int
    elapsed_s: float
    bound: Fraction | None = None


@dataclass(frozen=True, slots=True)
class SearchResult:
    """What a search found.

    Parameters
    ----------
    sequences
        Best first, costed by the account.
    bound, gap
        A proven lower bound of the weighed cost and the relative distance to it; None: no bound.
    work
        Sequences that were costed.
    """

    status: Status
    sequences: tuple[Sequence, ...]
    bound: Fraction | None
    gap: float | None
    work: int


def solve(
    problem: Problem,
    weights: Weights,
    stop: Stop,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
) -> SearchResult:
    """Order a queue so that its weighed cost is least.

    The result depends on problem, weights, seed and work limit alone; with a time limit also on the
    machine. It is never worse than the orders as entered and by due time.

    Raises
    ------
    ContradictoryLocksError
        Where the locks cannot all be kept.
    """
    conflict = conflicting_locks(problem)
    if conflict:
        raise ContradictoryLocksError(conflict)
    scheduler = Scheduler(problem, weights)
    evaluator = Evaluator(scheduler, stop)

    def report(score: Score) -> None:
        if on_progress is not None:
            on_progress(Progress(score.eur, score.faults, stop.done, stop.elapsed_s))

    if not evaluator.runnable:
        empty = account_with(scheduler, tuple(() for _ in problem.plant.lines))
        return SearchResult(Status.NOTHING_RUNS, (empty,), None, None, stop.done)
    improver = Improver(evaluator, _best_start(problem, evaluator), random.Random(seed), report)
    improver.descend()
    with stop.reserve(min(MOST_POLISH_SHARE, stop.share_of(round(POLISH_SWEEPS * improver.sweep())))):
        improver.walk()
    improver.polish()
    sequence = account_with(scheduler, order_of(improver.best_plans))
    return SearchResult(Status.FOUND, (sequence,), None, None, stop.done)


def _best_start(problem: Problem, evaluator: Evaluator) -> Plans:
    best: tuple[Score, Plans] | None = None
    for start_idx, plans in enumerate(_starts(problem, evaluator)):
        score = evaluator.score(plans)
        if best is None or score.better_than(best[0]):
            best = (score, plans)
        if start_idx >= 1 and evaluator.stop.reached:
            break
    if best is None:
        raise RuntimeError("there is always the order as entered")
    return best[1]


def _starts(problem: Problem, evaluator: Evaluator) -> Iterator[Plans]:
    """The baselines, an arrangement that keeps the locks, and the heuristics."""
    yield evaluator.plans(by_due_time(problem))
    yield evaluator.plans(as_entered(problem))
    if problem.locks:
        arranged = arrangement(problem)
        if arranged is not None:
            yield evaluator.plans(arranged)
    yield from first_orders(evaluator)
