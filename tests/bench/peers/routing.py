"""The routing library as a peer: one vehicle, guided local search, due times as soft bounds."""

from __future__ import annotations

from typing import Any

from ortools.constraint_solver import (  # type: ignore[import-untyped]
    pywrapcp,
    routing_enums_pb2,
)

from tests.bench.dispatching import dispatched
from tests.bench.instances import Instance, Order
from tests.bench.round_trips import order_of, round_trip, start_node
from tests.bench.trials import Effort

CLOCK = "clock"


def guided(instance: Instance, effort: Effort) -> Order | None:
    """The order it finds from the one of the dispatching rule; it has neither threads nor a seed."""
    lengths = round_trip(instance)
    manager = pywrapcp.RoutingIndexManager(len(lengths), 1, start_node(instance))
    routing = pywrapcp.RoutingModel(manager)
    routing.SetArcCostEvaluatorOfAllVehicles(routing.RegisterTransitMatrix(list(map(list, lengths))))
    if instance.due:
        _add_due_times(instance, manager, routing)
    asked = pywrapcp.DefaultRoutingSearchParameters()
    asked.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    asked.time_limit.FromMilliseconds(max(1, round(1000 * effort.seconds)))
    routing.CloseModelWithParameters(asked)
    start = _from_start(instance, dispatched(instance))
    route = [manager.NodeToIndex(node) for node in start]
    found = routing.SolveFromAssignmentWithParameters(routing.ReadAssignmentFromRoutes([route], True), asked)
    if not found:
        return None
    return order_of(instance, _successors(manager, routing, found))


def _add_due_times(instance: Instance, manager: Any, routing: Any) -> None:
    """A clock that shows a job's end when the vehicle is at it.

    Set-ups stay in the cost beside lateness: without them guided local search has no arcs to penalise.
    """
    steps = [
        [length + process for length, process in zip(row, (*instance.process, 0), strict=True)]
        for row in round_trip(instance)
    ]
    horizon = sum(map(max, steps))
    routing.AddDimension(routing.RegisterTransitMatrix(steps), 0, horizon, True, CLOCK)
    clock = routing.GetDimensionOrDie(CLOCK)
    for job_idx, (due, weight) in enumerate(zip(instance.due, instance.weight, strict=True)):
        clock.SetCumulVarSoftUpperBound(manager.NodeToIndex(job_idx), max(0, due), weight)


def _from_start(instance: Instance, order: Order) -> Order:
    """The nodes of a route after its first, which is where the vehicle starts."""
    if not instance.closed:
        return order
    first = order.index(start_node(instance))
    return (*order[first + 1 :], *order[:first])


def _successors(manager: Any, routing: Any, found: Any) -> dict[int, int]:
    successor: dict[int, int] = {}
    index = routing.Start(0)
    while not routing.IsEnd(index):
        onward = found.Value(routing.NextVar(index))
        successor[manager.IndexToNode(index)] = manager.IndexToNode(onward)
        index = onward
    return successor
