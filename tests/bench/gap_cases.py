"""Problems whose bound is looked at: set-ups alone, kept tooling, several lines, and small ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.stop import Stop
from solver.weights import GOALS, Weights
from tests.bench import best_known
from tests.bench.instances import Instance
from tests.bench.peers.constraints import least_value
from tests.bench.peers.first_engine.evaluate import NEVER, Evaluator
from tests.bench.press_days import press_day
from tests.bench.shop_days import shop_day
from tests.bench.trials import Effort
from tests.builders.days import one_line_day
from tests.builders.every_order import every_order
from tests.builders.textbook import SETUP_MINUTES_ONLY, open_path_problem

BALANCED = GOALS["balanced"]
NO_LIMIT_S = 1e9


@dataclass(frozen=True)
class Known:
    """What is known of a problem's least weighed cost without the search.

    Parameters
    ----------
    least
        Whether no order undercuts `eur`; else it is what the best order known costs.
    by
        How that is known.
    """

    eur: float
    least: bool
    by: str


@dataclass(frozen=True)
class GapCase:
    """A problem, and how to learn its least cost; `known` may take so many seconds and threads."""

    name: str
    problem: Callable[[], Problem]
    weights: Weights
    known: Callable[[float, int], Known | None] = lambda seconds, threads: None


def cases() -> tuple[GapCase, ...]:
    """All cases, set-ups alone first."""
    return (
        *(setups_alone(name) for name in ("40/4/10/1", "40/8/20/3", "200/5/30/3", "200/8/30/0")),
        GapCase("kept tooling, 40 jobs", partial(one_line_day, 5, 40), BALANCED),
        GapCase("kept tooling, 200 jobs", partial(one_line_day, 5, 200), BALANCED),
        *(of_shop(name) for name in ("40/1 tight", "40/1 loose", "40/3 tight", "200/4 tight")),
        every_order_of("every order of 5 jobs, one line", partial(one_line_day, 5, 5)),
        every_order_of("every order of 4 jobs, 2 lines", lambda: shop_day("4/2 tight").problem),
    )


def setups_alone(name: str) -> GapCase:
    """A structured day as a queue of one line: changeovers alone, in minutes, and no tooling kept."""
    instance = press_day(name)
    problem = partial(open_path_problem, _without_diagonal(instance))
    return GapCase(f"set-ups alone, {name}", problem, SETUP_MINUTES_ONLY, partial(_proved_or_best, instance))


def of_shop(name: str) -> GapCase:
    """A drawn day with every feature on."""
    return GapCase(f"shop, {name}", lambda: shop_day(name).problem, BALANCED)


def every_order_of(name: str, problem: Callable[[], Problem]) -> GapCase:
    """A problem so small that every order can be tried."""

    def known(seconds: float, threads: int) -> Known:
        return Known(least_of_every_order(problem(), BALANCED), True, "every order tried")

    return GapCase(name, problem, BALANCED, known)


def least_of_every_order(problem: Problem, weights: Weights) -> float:
    """The least weighed cost among the orders with the fewest faults, by the scheduler."""
    evaluator = Evaluator(Scheduler(problem, weights), Stop(time_s=NO_LIMIT_S))
    best = NEVER
    for order in every_order(problem):
        score = evaluator.score(evaluator.plans(order))
        if score.better_than(best):
            best = score
    return best.eur


def _without_diagonal(instance: Instance) -> tuple[tuple[int | None, ...], ...]:
    return tuple(
        tuple(None if job == before else minutes for job, minutes in enumerate(row))
        for before, row in enumerate(instance.setup)
    )


def _proved_or_best(instance: Instance, seconds: float, threads: int) -> Known | None:
    """What CP-SAT proves in time, else the best order kept."""
    least = least_value(instance, Effort(seconds, 0, threads))
    if least is not None:
        return Known(float(least), True, "proved by CP-SAT")
    best = best_known.read().get(instance.name)
    return None if best is None else Known(float(best.value), False, "best known")
