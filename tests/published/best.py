"""What the optimiser makes of a published problem."""

from __future__ import annotations

from solver.problem import Problem
from solver.search.solve import solve
from solver.search.stop import Stop
from solver.sequence import Sequence
from solver.weights import Weights


def best_of(problem: Problem, weights: Weights | None = None, work: int = 2000, seed: int = 0) -> Sequence:
    """The best sequence found within so many costed sequences."""
    return solve(problem, weights or Weights(), Stop(work=work), seed).sequences[0]
