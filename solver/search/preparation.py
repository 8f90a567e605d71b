"""Compiling the search: once on a machine, before any clock runs."""

from __future__ import annotations

from solver.problem import Problem
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.compile import CompiledLine
from solver.search.kernels.compiled import is_on_disk
from solver.search.kernels.line_annealing import anneal
from solver.search.kernels.path_descent import search_path
from solver.search.kernels.tour import search_tour
from solver.search.line_search import plain_starts, search_line
from solver.search.pairwise import is_never_late, is_pairwise
from solver.search.stop import Stop
from solver.weights import Weights


def is_prepared(problem: Problem) -> bool:
    """Whether the kernels that a search of this problem needs were compiled on this machine before."""
    if len(problem.plant.lines) != 1:
        return True
    compiled = CompiledLine(problem, Weights())
    if not compiled.plans:
        return True
    if not is_pairwise(compiled):
        return is_on_disk(anneal)
    return is_on_disk(search_tour if is_never_late(compiled) else search_path)


def prepare(problem: Problem) -> None:
    """Compile what a search of this problem needs and keep it on disk: about half a minute."""
    if len(problem.plant.lines) != 1:
        return
    compiled = CompiledLine(problem, Weights())
    if compiled.plans:
        search_line(compiled, plain_starts(compiled), Stop(work=1), seed=0, threads=1)
        if not is_pairwise(compiled):
            doubled(room_for_changeovers(len(compiled.web.stations)))
