"""What a run costs behind another one, on a plant that is never closed and short of nothing.

A library sees a changeover as a thing between two runs, while stations keep their tooling for longer. So a
pair costs what it would as the first two runs behind the line's present state or its started run.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from solver.calendar import ALWAYS_OPEN
from solver.feasibility import station_choices
from solver.locks import Started
from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.sequence import Placement
from solver.timeline import Event, State
from solver.weights import Weights

MS_PER_S = 1000


class PairPrices:
    """Prices pairs of runs of a problem, behind the runs that have started."""

    def __init__(
        self, problem: Problem, weights: Weights, started: tuple[tuple[Placement, ...], ...]
    ) -> None:
        self._problem = problem
        self._real = Scheduler(problem, weights)
        self._scheduler = Scheduler(_undisturbed(problem), weights)
        plans = [
            [self._scheduler.plan(line_idx, placement) for placement in placements]
            for line_idx, placements in enumerate(started)
        ]
        self._begun = self._scheduler.begin(plans)
        self.free_ms = [line.end_ms for line in self._begun.lines]

    def plan(self, line_idx: int, job_idx: int, placement: Placement | None) -> RunPlan | None:
        """A job on a line as it is placed, else at the first stations that can; None if the line cannot."""
        if placement is None:
            choices = station_choices(self._problem, line_idx, job_idx)
            if not choices:
                return None
            placement = Placement(job_idx, choices[0])
        return self._real.plan(line_idx, placement)

    def priced(
        self, plans: tuple[RunPlan | None, ...]
    ) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]]:
        """Money and seconds of all pairs on a line, and the mean waste of every job.

        The last row is the line as the plan begins.
        """
        eur = np.full((len(plans) + 1, len(plans)), np.inf)
        seconds = np.zeros(eur.shape, np.int64)
        waste_um, counted = np.zeros(len(plans)), np.zeros(len(plans))
        for before, first in enumerate((*plans, None)):
            if first is None and before < len(plans):
                continue
            state = self._begun.snapshot()
            if first is not None:
                self._scheduler.place(state, self._next(state, first))
            for job, plan in enumerate(plans):
                if plan is not None and job != before:
                    event = self._next(state, plan)
                    eur[before, job] = event.eur
                    seconds[before, job] = round((event.end_ms - event.start_ms) / MS_PER_S)
                    waste_um[job] += event.changeover.incoming_waste_um if event.changeover else 0
                    counted[job] += 1
        return eur, seconds, waste_um / np.maximum(1, counted)

    def _next(self, state: State, plan: RunPlan) -> Event:
        undisturbed = self._scheduler.plan(plan.line_idx, plan.placement)
        step = self._scheduler.next_step(state, undisturbed)
        if not isinstance(step, Event):
            raise RuntimeError(
                f"job {plan.job.id} cannot be placed on a plant short of nothing: {step.reason}"
            )
        return step


def _undisturbed(problem: Problem) -> Problem:
    """The same without closures, waits, shared tools, followed stock or due times; started runs stay."""
    plant = problem.plant
    lines = tuple(replace(line, calendar=ALWAYS_OPEN) for line in plant.lines)
    substrates = tuple(
        replace(
            substrate,
            widths=tuple(replace(width, on_hand_um=None, deliveries=()) for width in substrate.widths),
        )
        for substrate in plant.substrates
    )
    dies = tuple(replace(die, copies=None) for die in plant.dies)
    cylinders = tuple(replace(cylinder, copies=None) for cylinder in plant.cylinders)
    jobs = tuple(replace(job, ready_ms=0, due_ms=None) for job in problem.jobs)
    locks = tuple(lock for lock in problem.locks if isinstance(lock, Started))
    plain = replace(plant, lines=lines, substrates=substrates, dies=dies, cylinders=cylinders)
    return Problem(plain, jobs, locks)
