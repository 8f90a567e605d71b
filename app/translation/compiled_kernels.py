"""Whether the search was compiled for this machine."""

from __future__ import annotations

from solver.search.kernels.annealing import anneal
from solver.search.kernels.compiled import is_on_disk
from solver.search.kernels.path_descent import search_path
from solver.search.kernels.tour import search_tour


def kernels_are_compiled() -> bool:
    """Whether no search of any kind has to compile first."""
    return all(is_on_disk(kernel) for kernel in (anneal, search_path, search_tour))
