"""The weighed prices of one goal as floats, for the many costs a search compares.

The account's exact fractions are the truth; these agree with them to rounding.
"""

from __future__ import annotations

from collections.abc import Iterable

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
        self._moved_run_eur = float(problem.plant.moved_run_eur)
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
        """What a run costs at least, whatever the order. One that may join may have no job change."""
        eur = self._floor_eur.get(plan.idx)
        if eur is None:
            line = self._problem.plant.lines[plan.line_idx]
            eur = plan.layout.run_ms * self.running_eur_per_ms[plan.line_idx]
            if plan.join_class is None:
                eur += line.job_change_ms * self.stopped_eur_per_ms[plan.line_idx]
            self._floor_eur[plan.idx] = eur * (1 - 1e-9)
        return eur

    def moved_eur(self, plan: RunPlan, before: RunPlan | None) -> float:
        """What it costs that a run, behind another one, is moved; no weight scales it."""
        if not self._problem.jobs_in_force:
            return 0.0
        before_idx = None if before is None else before.placement.job_idx
        is_moved = self._problem.is_moved(plan.line_idx, plan.placement.job_idx, before_idx)
        return self._moved_run_eur if is_moved else 0.0

    def most_moved_eur(self, job_idx: int) -> float:
        """What a moved run of a job costs; 0 where none of its runs is ever moved."""
        return self._moved_run_eur if job_idx in self._problem.jobs_in_force else 0.0

    def late_prices(self, job_idx: int) -> tuple[float, float]:
        """Price of a job being late: once, and a ms."""
        return self._late_eur[job_idx]

    def plan_late_prices(self, plan: RunPlan) -> tuple[float, float]:
        """A run's share of its job's late prices: once, and a ms."""
        once_eur, per_ms_eur = self._late_eur[plan.placement.job_idx]
        if plan.lot is None:
            return once_eur, per_ms_eur
        share = float(plan.late_share)
        return once_eur * share, per_ms_eur * share

    def late_eur(self, plan: RunPlan, end_ms: int) -> float:
        """Cost of a run's lateness when it ends then: a lot carries its share, by labels."""
        if plan.press_due_ms is None or end_ms <= plan.press_due_ms:
            return 0.0
        once_eur, per_ms_eur = self.plan_late_prices(plan)
        return once_eur + per_ms_eur * (end_ms - plan.press_due_ms)

    def split_late_eur(self, ends: Iterable[tuple[RunPlan, int]]) -> float:
        """What late split jobs cost beyond the shares of their lots, given every run and its end.

        A job is late when its last lot is, for the whole of its prices; so this is never below 0.
        """
        last: dict[int, tuple[RunPlan, int]] = {}
        shares_eur: dict[int, float] = {}
        for plan, end_ms in ends:
            if plan.lot is None or plan.press_due_ms is None or end_ms <= plan.press_due_ms:
                continue
            job_idx = plan.placement.job_idx
            shares_eur[job_idx] = shares_eur.get(job_idx, 0.0) + self.late_eur(plan, end_ms)
            if job_idx not in last or end_ms > last[job_idx][1]:
                last[job_idx] = (plan, end_ms)
        beyond_eur = 0.0
        for job_idx, (plan, end_ms) in last.items():
            once_eur, per_ms_eur = self._late_eur[job_idx]
            late_ms = end_ms - (plan.press_due_ms or 0)
            beyond_eur += max(0.0, once_eur + per_ms_eur * late_ms - shares_eur[job_idx])
        return beyond_eur
