"""The search, assembled: construct, improve, and cost what comes out with the account."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from solver.account import account_with
from solver.baselines import as_entered, by_due_time
from solver.locks import Lock
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.compile import CompiledLine
from solver.search.construct import first_orders
from solver.search.evaluate import Evaluator, Plans, Score, order_of
from solver.search.improve import Improver
from solver.search.line_search import LineFound, plain_starts, search_line
from solver.search.stop import Stop
from solver.sequence import Order, Sequence
from solver.weights import Weights

POLISH_SWEEPS = 1.25
"""Sweeps over all moves of the best order for which work or time is kept at the end."""
MOST_POLISH_SHARE = 0.5
"""Share of the limits that is kept for them at most."""
COSTING_SHARE = 1.5
"""How many times as long as compiling a line's queue the account of its order takes, roughly."""


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
    """What a search has so far. `bound_eur` is a weighed cost that no order undercuts; None: no bound."""

    best_eur: float
    left_out: int
    work: int
    elapsed_s: float
    bound_eur: float | None = None

    @property
    def gap(self) -> float | None:
        """How far the best may be above the least, as a share of the bound; None: no bound."""
        return gap_above(self.best_eur, self.bound_eur)


def gap_above(eur: float, bound_eur: float | None) -> float | None:
    """How far above a bound something is, as a share of it; None where that says nothing."""
    if bound_eur is None or (bound_eur <= 0 and eur > 0):
        return None
    return max(0.0, eur / bound_eur - 1) if bound_eur > 0 else 0.0


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
        Sequences that were costed or changes that were tried.
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
    threads: int | None = None,
) -> SearchResult:
    """Order a queue so that its weighed cost is least.

    The result depends on problem, weights, seed and work limit alone; with a time limit also on the
    machine. It is never worse than the orders as entered and by due time. `threads` of a queue for one
    line search at the same time, None for as many as there are processors, up to 4.

    Raises
    ------
    ContradictoryLocksError
        Where the locks cannot all be kept.
    """
    arranged = _arranged(problem)
    if len(problem.plant.lines) == 1:
        return _solve_line(problem, weights, arranged, stop, seed, on_progress, threads)
    return _solve_lines(problem, weights, arranged, stop, seed, on_progress)


def _arranged(problem: Problem) -> Order | None:
    """An order that keeps the locks on lines, positions and neighbours; None without locks."""
    if not problem.locks:
        return None
    # Only locks need the constraint solver, which takes as long to import as the whole search.
    from solver.lock_conflicts import arrangement, conflicting_locks

    conflict = conflicting_locks(problem)
    if conflict:
        raise ContradictoryLocksError(conflict)
    return arrangement(problem)


def _solve_line(
    problem: Problem,
    weights: Weights,
    arranged: Order | None,
    stop: Stop,
    seed: int,
    on_progress: Callable[[Progress], None] | None,
    threads: int | None,
) -> SearchResult:
    """One line: islands of compiled kernels."""
    begun_s = stop.elapsed_s
    compiled = CompiledLine(problem, weights)
    costing_s = COSTING_SHARE * (stop.elapsed_s - begun_s)

    def report(found: LineFound) -> None:
        if on_progress is not None:
            on_progress(Progress(found.eur, found.faults, found.work, found.elapsed_s, found.bound_eur))

    if not compiled.plans:
        return _nothing_runs(compiled.scheduler, stop)
    starts = plain_starts(compiled)
    if arranged is not None:
        starts.append(compiled.numbers(arranged))
    with stop.reserve_time(costing_s):
        found = search_line(compiled, starts, stop, seed, threads, report)
    sequence = account_with(compiled.scheduler, found.order)
    bound = None if found.bound_eur is None else Fraction(found.bound_eur)
    gap = gap_above(float(sequence.weighed_eur), found.bound_eur)
    return SearchResult(Status.FOUND, (sequence,), bound, gap, found.work)


def _nothing_runs(scheduler: Scheduler, stop: Stop) -> SearchResult:
    empty = account_with(scheduler, tuple(() for _ in scheduler.problem.plant.lines))
    return SearchResult(Status.NOTHING_RUNS, (empty,), None, None, stop.done)


def _solve_lines(
    problem: Problem,
    weights: Weights,
    arranged: Order | None,
    stop: Stop,
    seed: int,
    on_progress: Callable[[Progress], None] | None,
) -> SearchResult:
    """Several lines: local search on the scheduler itself."""
    scheduler = Scheduler(problem, weights)
    evaluator = Evaluator(scheduler, stop)

    def report(score: Score) -> None:
        if on_progress is not None:
            on_progress(Progress(score.eur, score.faults, stop.done, stop.elapsed_s))

    if not evaluator.runnable:
        return _nothing_runs(scheduler, stop)
    improver = Improver(evaluator, _best_start(problem, arranged, evaluator), random.Random(seed), report)
    improver.descend()
    with stop.reserve(min(MOST_POLISH_SHARE, stop.share_of(round(POLISH_SWEEPS * improver.sweep())))):
        improver.walk()
    improver.polish()
    sequence = account_with(scheduler, order_of(improver.best_plans))
    return SearchResult(Status.FOUND, (sequence,), None, None, stop.done)


def _best_start(problem: Problem, arranged: Order | None, evaluator: Evaluator) -> Plans:
    best: tuple[Score, Plans] | None = None
    for start_idx, plans in enumerate(_starts(problem, arranged, evaluator)):
        score = evaluator.score(plans)
        if best is None or score.better_than(best[0]):
            best = (score, plans)
        if start_idx >= 1 and evaluator.stop.reached:
            break
    if best is None:
        raise RuntimeError("there is always the order as entered")
    return best[1]


def _starts(problem: Problem, arranged: Order | None, evaluator: Evaluator) -> Iterator[Plans]:
    """The baselines, an arrangement that keeps the locks, and the heuristics."""
    yield evaluator.plans(by_due_time(problem))
    yield evaluator.plans(as_entered(problem))
    if arranged is not None:
        yield evaluator.plans(arranged)
    yield from first_orders(evaluator)
