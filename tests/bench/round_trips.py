"""An order as a round trip: what solvers of tours take, and what they give back."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from solver.search.setup_bound import setup_bound
from tests.bench.instances import Instance, Matrix, Order

ROUNDING = 1e-6


def round_trip(instance: Instance) -> Matrix:
    """Lengths of the arcs of a round trip over all jobs that is as long as the order's set-ups.

    An open path gets one more node behind the jobs, the gate: from it to a job it is the job's first
    set-up, from a job to it nothing.
    """
    if instance.closed:
        return instance.setup
    return (*((*row, 0) for row in instance.setup), (*instance.first, 0))


def least_round_trip(instance: Instance) -> int:
    """What set-ups come to at least: the relaxation rounded up, less what the linear solver may be off by.

    Raises
    ------
    ValueError
        Where lateness counts: set-ups alone do not bound it.
    """
    if instance.due:
        raise ValueError(f"{instance.name}: this bounds set-ups, not lateness")
    value = setup_bound(np.array(round_trip(instance), np.float64)).value
    return math.ceil(value - ROUNDING * max(1.0, value))


def start_node(instance: Instance) -> int:
    """Where a round trip begins: at the first job, or at the gate."""
    return 0 if instance.closed else instance.jobs


def order_of(instance: Instance, successor: Mapping[int, int]) -> Order:
    """The order of a round trip given by the successor of every node."""
    node, order = start_node(instance), list[int]()
    for _ in range(instance.jobs + (not instance.closed)):
        if node < instance.jobs:
            order.append(node)
        node = successor[node]
    return tuple(order)


def successors_of(instance: Instance, order: Sequence[int]) -> dict[int, int]:
    """The successor of every node on the round trip of an order."""
    nodes = list(order) if instance.closed else [*order, instance.jobs]
    return dict(zip(nodes, [*nodes[1:], nodes[0]], strict=True))
