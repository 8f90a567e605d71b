"""The weighed prices of one goal as floats, for the many costs a search compares.

The account's exact fractions are the truth; these agree with them to rounding.
"""

from __future__ import annotations

from solver.problem import Problem
from solver.run_plan import MS_PER_H, RunPlan
from solver.sequence import Stock
from solver.weights import Weights


class Weighing:
    """Prices of a problem's times, webs and lateness under weights, worked out once.

    `stopped_eur_per_ms` and `running_eur_per_ms` are by line.
    """

    def __init__(self, problem: Problem, weights: Weights) -> None:
        self._problem = problem
        self._weights = weights
        lines = problem.plant.lines
        self.stopped_eur_per_ms = [float(weights.changeover * line.eur_per_ms) for line in lines]
        self.running_eur_per_ms = [float(weights.running * line.eur_per_ms) for line in lines]
        self._um_eur: dict[Stock, float] = {}
        self._floor_eur: dict[int, float] = {}
        self._late_eur = [
            (float(weights.late * job.late_eur), float(weights.late * job.late_eur_per_h / MS_PER_H))
            for job in problem.jobs
        ]

    def um_eur(self, stock: Stock) -> float:
        """Price of a µm of wasted web."""
        eur = self._um_eur.get(stock)
        if eur is None:
            eur = float(self._weights.waste_eur_per_um(self._problem.eur_per_um(stock)))
            self._um_eur[stock] = eur
        return eur

    def floor_eur(self, plan: RunPlan) -> float:
        """What a run costs at least, whatever the order."""
        eur = self._floor_eur.get(plan.idx)
        if eur is None:
            line = self._problem.plant.lines[plan.line_idx]
            eur = plan.layout.run_ms * self.running_eur_per_ms[plan.line_idx]
            eur += line.job_change_ms * self.stopped_eur_per_ms[plan.line_idx]
            self._floor_eur[plan.idx] = eur * (1 - 1e-9)
        return eur

    def late_prices(self, job_idx: int) -> tuple[float, float]:
        """Price of a job being late: once, and a ms."""
        return self._late_eur[job_idx]

    def late_eur(self, plan: RunPlan, end_ms: int) -> float:
        """Cost of a run's lateness when it ends then."""
        if plan.press_due_ms is None or end_ms <= plan.press_due_ms:
            return 0.0
        once_eur, per_ms_eur = self._late_eur[plan.placement.job_idx]
        return once_eur + per_ms_eur * (end_ms - plan.press_due_ms)
