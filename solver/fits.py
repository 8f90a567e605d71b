"""What jobs take on lines and what setting a line for them takes, remembered for many queues.

Neither hangs on the clock, on what is left in the store or on what else waits: queues on one plant under one
goal may share it, so that a queue asked about again and again, as people move its runs, is soon known.
"""

from __future__ import annotations

from dataclasses import replace

from solver.calendar import ALWAYS_OPEN
from solver.plant import Plant, StockedWidth
from solver.problem import Problem
from solver.run_plan import RunPlan, make_run_plan, press_due_ms
from solver.sequence import Placement
from solver.setups import Setups
from solver.signatures import JoinKey
from solver.weights import Weights


class Fits:
    """Run plans and set-ups worked out once. For one thread at a time.

    Parameters
    ----------
    problem
        A queue on the plant; others may share what is remembered where `lasting` is the same of their plants.
    """

    def __init__(self, problem: Problem, weights: Weights) -> None:
        self.weights = weights
        self.setups = Setups(problem, weights)
        self._plans: dict[tuple[object, ...], RunPlan] = {}
        self._join_classes: dict[JoinKey, int] = {}

    @property
    def known(self) -> int:
        """How much is remembered: run plans, settings and changeovers."""
        return len(self._plans) + self.setups.known

    def plan(self, problem: Problem, line_idx: int, placement: Placement) -> RunPlan:
        """What a placement of a queue takes; its number is that of what was worked out."""
        job = problem.jobs[placement.job_idx]
        ends_um = problem.roll_ends.get((line_idx, placement))
        key = (line_idx, placement.stations, placement.lot, ends_um, job.made_of)
        plan = self._plans.get(key)
        if plan is None:
            plan = self._plans[key] = make_run_plan(
                problem, self.weights, len(self._plans), line_idx, placement, self._join_classes
            )
            return plan
        return replace(plan, placement=placement, job=job, press_due_ms=press_due_ms(problem, job))


def lasting(plant: Plant) -> Plant:
    """A plant without its hours and its stock: all of it that run plans and set-ups hang on."""
    return Plant(
        lines=tuple(
            replace(line, calendar=ALWAYS_OPEN, present=replace(line.present, free_at_ms=0))
            for line in plant.lines
        ),
        substrates=tuple(
            replace(substrate, widths=tuple(StockedWidth(stocked.width_um) for stocked in substrate.widths))
            for substrate in plant.substrates
        ),
        dies=plant.dies,
        cylinders=plant.cylinders,
        consumables=plant.consumables,
        wash_up_ms=plant.wash_up_ms,
        core_wall_um=plant.core_wall_um,
    )
