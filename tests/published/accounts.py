"""Published problems through the real account and optimiser, each sequence checked independently."""

from __future__ import annotations

from solver.account import account
from solver.ledger import web_ledger
from solver.problem import Problem
from solver.search.solve import solve
from solver.search.stop import Stop
from solver.sequence import Order, Sequence
from solver.weights import Weights
from tests.checker import check_sequence

PLAIN_MONEY = Weights()


def costed(problem: Problem, order: Order, weights: Weights = PLAIN_MONEY) -> Sequence:
    """An order costed by the account."""
    return _checked(problem, account(problem, order, weights), weights)


def best_of(
    problem: Problem, weights: Weights = PLAIN_MONEY, work: int | None = None, seed: int = 0
) -> Sequence:
    """The best sequence the optimiser finds within so much work: changes tried on one line, sequences
    costed on several.
    """
    if work is None:
        work = 200_000 if len(problem.plant.lines) == 1 else 2_000
    return _checked(problem, solve(problem, weights, Stop(work=work), seed).sequences[0], weights)


def _checked(problem: Problem, sequence: Sequence, weights: Weights) -> Sequence:
    complaints = check_sequence(problem, sequence, weights, web_ledger(problem, sequence))
    if complaints:
        raise AssertionError("\n".join(complaints))
    return sequence
