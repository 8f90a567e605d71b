"""Strong components of a directed graph."""

from __future__ import annotations

from collections.abc import Sequence

from solver.search.kernels.tables import Ints


def strong_components(arcs: Ints, nodes: int) -> list[list[int]]:
    """The sets of nodes within which each is reached from each.

    A search forwards numbers the nodes as it leaves them, one backwards gathers them (Kosaraju and Sharir,
    Computers and Mathematics with Applications 7, 1981).

    Parameters
    ----------
    arcs
        (n, 2) tail and head.
    """
    forwards: list[list[int]] = [[] for _ in range(nodes)]
    backwards: list[list[int]] = [[] for _ in range(nodes)]
    for tail, head in arcs.tolist():
        forwards[tail].append(head)
        backwards[head].append(tail)
    finished: list[int] = []
    seen: set[int] = set()
    for root in range(nodes):
        finished.extend(_reached(root, forwards, seen))
    gathered: set[int] = set()
    components = (_reached(root, backwards, gathered) for root in reversed(finished))
    return [component for component in components if component]


def _reached(root: int, heads: Sequence[Sequence[int]], seen: set[int]) -> list[int]:
    """Nodes reached from a root and not seen before, those first that are left first."""
    if root in seen:
        return []
    seen.add(root)
    finished: list[int] = []
    trail = [(root, iter(heads[root]))]
    while trail:
        node, onward = trail[-1]
        head = next((head for head in onward if head not in seen), None)
        if head is None:
            finished.append(node)
            trail.pop()
        else:
            seen.add(head)
            trail.append((head, iter(heads[head])))
    return finished
