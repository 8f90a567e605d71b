"""The first engine, assembled: the best first order, descents and shakes, a polish at the end."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

from solver.baselines import as_entered, by_due_time
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.stop import Stop
from solver.sequence import Order
from solver.weights import Weights
from tests.bench.peers.first_engine.construct import first_orders
from tests.bench.peers.first_engine.evaluate import Evaluator, Plans, order_of
from tests.bench.peers.first_engine.improve import Improver
from tests.builders.scored import Score

POLISH_SWEEPS = 1.25
"""Sweeps over all moves of the best order for which work or time is kept at the end."""
MOST_POLISH_SHARE = 0.5
"""Share of the limits that is kept for them at most."""


def searched(
    problem: Problem,
    weights: Weights,
    stop: Stop,
    seed: int,
    on_best: Callable[[Score], None] = lambda score: None,
) -> Order:
    """The best order it finds within the limits.

    Raises
    ------
    ValueError
        Where no line can run any job.
    """
    evaluator = Evaluator(Scheduler(problem, weights), stop)
    if not evaluator.runnable:
        raise ValueError("no line can run any job")
    improver = Improver(evaluator, best_start(problem, evaluator), random.Random(seed), on_best)
    improver.descend()
    with stop.reserve(min(MOST_POLISH_SHARE, _share_of(stop, round(POLISH_SWEEPS * improver.sweep())))):
        improver.walk()
    improver.polish()
    return order_of(improver.best_plans)


def best_start(problem: Problem, evaluator: Evaluator) -> Plans:
    """The best of the baselines, an order that keeps the locks, and the orders of the heuristics."""
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
    yield evaluator.plans(by_due_time(problem))
    yield evaluator.plans(as_entered(problem))
    if problem.locks:
        # Only locks need the constraint solver, which takes as long to import as the whole search.
        from solver.lock_conflicts import arrangement

        arranged = arrangement(problem)
        if arranged is not None:
            yield evaluator.plans(arranged)
    yield from first_orders(evaluator)


def _share_of(stop: Stop, work: int) -> float:
    """Share of the limits that some further work takes, at the speed so far."""
    shares = [0.0]
    if stop.work:
        shares.append(work / stop.work)
    if stop.time_s and stop.done:
        shares.append(work * stop.elapsed_s / stop.done / stop.time_s)
    return max(shares)
