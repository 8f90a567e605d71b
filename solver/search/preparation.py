"""Compiling the search: once on a machine, before any clock runs."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

from solver.problem import Problem
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.compile import CompiledPlant
from solver.search.kernels.annealing import anneal
from solver.search.kernels.compiled import is_on_disk
from solver.search.kernels.path_descent import search_path
from solver.search.kernels.tour import search_tour
from solver.search.pairwise import is_never_late, is_pairwise
from solver.search.plant_search import plain_starts, search_plant
from solver.search.stop import Stop
from solver.weights import Weights


def is_prepared(problem: Problem) -> bool:
    """Whether the kernels that a search of this problem needs were compiled on this machine before."""
    is_matrix_prepared = is_on_disk(search_tour) and is_on_disk(search_path)
    if is_on_disk(anneal) and (is_matrix_prepared or len(problem.plant.lines) > 1):
        # Whatever kind the queue is of: it need not be made into arrays to know.
        return True
    compiled = CompiledPlant(problem, Weights())
    if not compiled.runs:
        return True
    if len(compiled.lines) > 1 or not is_pairwise(compiled.lines[0]):
        return is_on_disk(anneal)
    return is_on_disk(search_tour if is_never_late(compiled.lines[0]) else search_path)


def prepare(problem: Problem) -> None:
    """Compile what a search of this problem needs and keep it on disk: about half a minute."""
    compiled = CompiledPlant(problem, Weights())
    if compiled.runs:
        with nothing_collected():
            search_plant(compiled, plain_starts(compiled), Stop(work=1), seed=0, threads=1)
            if len(compiled.lines) > 1 or not is_pairwise(compiled.lines[0]):
                doubled(room_for_changeovers(len(compiled.lines[0].web.stations)))


@contextmanager
def nothing_collected() -> Iterator[None]:
    """Look for no garbage meanwhile: the compiler's objects are many and stay."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()
