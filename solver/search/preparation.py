"""Compiling the search: once on a machine, before any clock runs."""

from __future__ import annotations

from solver.baselines import as_entered
from solver.problem import Problem
from solver.search.compile import CompiledLine
from solver.search.kernels.compiled import is_on_disk
from solver.search.kernels.line_annealing import anneal
from solver.search.kernels.path_descent import search_path
from solver.search.kernels.tour import search_tour
from solver.search.line_search import search_line
from solver.search.pairwise import as_pairwise, is_pairwise
from solver.search.stop import Stop
from solver.weights import Weights


def is_prepared(problem: Problem) -> bool:
    """Whether the kernels that a search of this problem needs were compiled on this machine before."""
    if len(problem.plant.lines) != 1:
        return True
    compiled = CompiledLine(problem, Weights())
    if not compiled.plans or not is_pairwise(compiled):
        return not compiled.plans or is_on_disk(anneal)
    pairwise = as_pairwise(compiled)
    never_late = pairwise is not None and pairwise.is_never_late
    return is_on_disk(search_tour if never_late else search_path)


def prepare(problem: Problem) -> None:
    """Compile, or take from disk, what a search of this problem needs.

    It takes up to half a minute the first time, and less than a second from then on.
    """
    if len(problem.plant.lines) != 1:
        return
    compiled = CompiledLine(problem, Weights())
    if compiled.plans:
        search_line(compiled, [as_entered(problem)], Stop(work=1), seed=0, threads=1)
