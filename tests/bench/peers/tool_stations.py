"""CP-SAT as a peer of tool switching: which job runs at a position, and which tools are loaded there."""

from __future__ import annotations

from ortools.sat.python import cp_model

from tests.bench.instances import Order
from tests.bench.tool_queues import ToolQueue
from tests.bench.trials import Effort


def cold(queue: ToolQueue, effort: Effort) -> Order | None:
    """The order it finds from nothing; None where it finds none in time."""
    model = cp_model.CpModel()
    positions = range(len(queue.needs))
    runs = [[model.new_bool_var("") for _ in positions] for _ in queue.needs]
    for job in runs:
        model.add_exactly_one(job)
    for position in positions:
        model.add_exactly_one(job[position] for job in runs)
    switches = []
    loaded = {tool: [model.new_bool_var("") for _ in positions] for need in queue.needs for tool in need}
    for need, job in zip(queue.needs, runs, strict=True):
        for tool in need:
            for position in positions:
                model.add_implication(job[position], loaded[tool][position])
    for position in positions:
        model.add(sum(held[position] for held in loaded.values()) <= queue.stations)
    for held in loaded.values():
        for position in positions[1:]:
            switch = model.new_bool_var("")
            model.add(switch >= held[position] - held[position - 1])
            switches.append(switch)
    model.minimize(sum(switches))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = effort.seconds
    solver.parameters.num_workers = effort.threads
    solver.parameters.random_seed = effort.seed
    if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return tuple(
        next(job for job, run in enumerate(runs) if solver.boolean_value(run[position]))
        for position in positions
    )
