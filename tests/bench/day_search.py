"""The search of this project as the benchmarks of days ask it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from solver.problem import Problem
from solver.search.preparation import is_prepared, prepare
from solver.search.solve import Progress, solve
from solver.search.stop import Stop
from solver.sequence import Order
from solver.weights import GOALS, Weights

GOAL = "balanced"
WEIGHTS: Weights = GOALS[GOAL]


@dataclass(frozen=True)
class DayEffort:
    """What a solver may spend, and its seed."""

    seconds: float
    seed: int
    threads: int


@dataclass(frozen=True)
class DayFound:
    """An order of a day.

    Parameters
    ----------
    eur
        What it is said to cost, weighed; None where nothing is said.
    work
        Orders costed or changes tried.
    bound_eur
        What no order undercuts, weighed; None where there is no bound.
    proved
        Whether a model proved its own order, which is no proof for the day.
    """

    order: Order
    eur: float | None = None
    work: int = 0
    bound_eur: float | None = None
    proved: bool = False


def compile_for(problem: Problem) -> None:
    """Have the kernels compiled that a search needs: what that takes is measured by `start`."""
    if not is_prepared(problem):
        prepare(problem)


def searched(
    problem: Problem,
    weights: Weights,
    effort: DayEffort,
    on_progress: Callable[[Progress], None] | None = None,
) -> DayFound:
    """What the search finds in the time allowed."""
    result = solve(problem, weights, Stop(time_s=effort.seconds), effort.seed, on_progress, effort.threads)
    sequence = result.sequences[0]
    bound_eur = None if result.bound is None else float(result.bound)
    return DayFound(sequence.order, float(sequence.weighed_eur), result.work, bound_eur)
