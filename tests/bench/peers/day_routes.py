"""The routing library as a peer on days: a vehicle a line, pairs of runs as arcs, guided local search.

What it cannot say is left out: stations that keep their tooling over more than one run, jobs run out while a
line waits, closures (its clock shows open time), dies and cylinders that lines share, and the choice of
stations. Jobs that take web still to come in the starting order wait for it in every order. Being late at all
is spread over the first hour.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from ortools.constraint_solver import (  # type: ignore[import-untyped]
    pywrapcp,
    routing_enums_pb2,
)

from solver.locks import AtPosition, Before, OnLine, Together
from tests.bench.peers.pair_prices import MS_PER_S
from tests.bench.peers.run_pairs import RunPairs
from tests.bench.peers.start_times import timed

EUR_UNIT = 1e-4
CLOCK = "clock"
S_PER_H = 3600
SPARE = 3
"""The clock runs to this many times the starting order's end."""


class DayRoutes:
    """The model of a day; nodes are its jobs, and behind them a gate for every line."""

    def __init__(self, pairs: RunPairs) -> None:
        self._pairs = pairs
        gates = [pairs.jobs + line_idx for line_idx in range(pairs.lines)]
        self._manager = pywrapcp.RoutingIndexManager(pairs.jobs + pairs.lines, pairs.lines, gates, gates)
        self._routing = pywrapcp.RoutingModel(self._manager)
        steps = []
        for line_idx in range(pairs.lines):
            cost, taken_s = self._matrices(line_idx)
            routed = self._routing.RegisterTransitMatrix(cost.tolist())
            self._routing.SetArcCostEvaluatorOfVehicle(routed, line_idx)
            steps.append(self._routing.RegisterTransitMatrix(taken_s.tolist()))
        self._add_clock(steps)
        for job in range(pairs.jobs):
            able = [line_idx for line_idx in range(pairs.lines) if pairs.can_run(line_idx, job)]
            self._routing.VehicleVar(self._index(job)).SetValues(able)
        self._add_locks()

    def solve(self, seconds: float) -> list[list[int]] | None:
        """The order it finds from the starting order, or from nothing where that breaks its limits.

        None where it finds none. It has neither threads nor a seed.
        """
        asked = pywrapcp.DefaultRoutingSearchParameters()
        asked.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
        asked.time_limit.FromMilliseconds(max(1, round(1000 * seconds)))
        self._routing.CloseModelWithParameters(asked)
        routes = [[self._index(job) for job in queue] for queue in self._pairs.start_queues]
        start = self._routing.ReadAssignmentFromRoutes(routes, True)
        found = None
        if start is not None:
            found = self._routing.SolveFromAssignmentWithParameters(start, asked)
        if not found:
            found = self._routing.SolveWithParameters(asked)
        return [self._queue(found, line_idx) for line_idx in range(self._pairs.lines)] if found else None

    def _matrices(self, line_idx: int) -> tuple[Any, Any]:
        """Money and seconds from node to node; back to a gate there is nothing to do."""
        pairs, jobs = self._pairs, self._pairs.jobs
        size = jobs + pairs.lines
        cost, taken_s = np.zeros((size, size), np.int64), np.zeros((size, size), np.int64)
        eur = np.where(np.isfinite(pairs.eur[line_idx]), pairs.eur[line_idx], 0.0)
        cost[:jobs, :jobs] = np.rint(eur[:jobs] / EUR_UNIT)
        taken_s[:jobs, :jobs] = pairs.seconds[line_idx, :jobs]
        cost[jobs:, :jobs] = np.rint(eur[jobs] / EUR_UNIT)
        taken_s[jobs:, :jobs] = pairs.seconds[line_idx, jobs]
        return cost, taken_s

    def _add_clock(self, steps: list[int]) -> None:
        """A clock that shows a run's end at its node. Waiting is slack and costs what it costs."""
        pairs = self._pairs
        last_s = max((run.end_s for run in timed(pairs)), default=0)
        horizon_s = SPARE * max(last_s, *pairs.ready_s, *pairs.stocked_s, *pairs.free_s)
        self._routing.AddDimensionWithVehicleTransits(steps, horizon_s, horizon_s, False, CLOCK)
        self._clock = self._routing.GetDimensionOrDie(CLOCK)
        for line_idx, free_s in enumerate(pairs.free_s):
            self._clock.CumulVar(self._routing.Start(line_idx)).SetValue(free_s)
            per_s = round(pairs.stopped_eur_per_s[line_idx] / EUR_UNIT)
            self._clock.SetSlackCostCoefficientForVehicle(per_s, line_idx)
        for job in range(pairs.jobs):
            least_s = max(pairs.ready_s[job], pairs.stocked_s[job])
            self._clock.CumulVar(self._index(job)).SetMin(least_s + self._least_s(job))
            due_ms = pairs.press_due_ms[job]
            once_eur, per_s_eur = pairs.late_eur(job)
            per_s = round((once_eur / S_PER_H + per_s_eur) / EUR_UNIT)
            if due_ms is not None and per_s:
                due_s = max(0, pairs.hours.open_ms(due_ms) // MS_PER_S)
                self._clock.SetCumulVarSoftUpperBound(self._index(job), due_s, per_s)

    def _least_s(self, job: int) -> int:
        """What changeover and run of a job take at least, behind whatever run and on whatever line."""
        pairs = self._pairs
        able = [line_idx for line_idx in range(pairs.lines) if pairs.can_run(line_idx, job)]
        times_s = pairs.seconds[able, :, job]
        return int(times_s[times_s > 0].min(initial=times_s.max()))

    def _add_locks(self) -> None:
        """Locks on jobs still to be placed; of positions the first alone, fixed starts not at all."""
        number, solver = self._pairs.number, self._routing.solver()
        for lock in self._pairs.day.problem.locks:
            match lock:
                case OnLine() if lock.job in number:
                    line_idx = self._pairs.day.problem.line_idx[lock.line]
                    self._routing.VehicleVar(self._index(number[lock.job])).SetValue(line_idx)
                case Together() if all(job in number for job in lock.jobs):
                    jobs = [self._index(number[job]) for job in lock.jobs]
                    inside = [
                        solver.IsEqualCstVar(self._routing.NextVar(tail), head)
                        for tail in jobs
                        for head in jobs
                        if tail != head
                    ]
                    solver.Add(solver.Sum(inside) == len(jobs) - 1)
                case Before() if lock.job in number and lock.then in number:
                    ended = self._clock.CumulVar(self._index(number[lock.job]))
                    then = self._clock.CumulVar(self._index(number[lock.then]))
                    solver.Add(ended + self._least_s(number[lock.then]) <= then)
                case AtPosition() if lock.job in number and lock.position == 1:
                    gates = map(self._routing.Start, range(self._pairs.lines))
                    index = self._index(number[lock.job])
                    first = [solver.IsEqualCstVar(self._routing.NextVar(gate), index) for gate in gates]
                    solver.Add(solver.Sum(first) == 1)

    def _index(self, job: int) -> int:
        index: int = self._manager.NodeToIndex(job)
        return index

    def _queue(self, found: Any, line_idx: int) -> list[int]:
        queue, index = list[int](), self._routing.Start(line_idx)
        while True:
            index = found.Value(self._routing.NextVar(index))
            if self._routing.IsEnd(index):
                return queue
            queue.append(self._manager.IndexToNode(index))
