"""First orders: dispatching by a composite rule, and cheapest insertion."""

from __future__ import annotations

import math
from collections.abc import Iterator

from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.timeline import Event, State
from tests.bench.peers.first_engine.evaluate import Evaluator, Plans
from tests.builders.scored import Score

LOOK_AHEADS = ((2.0, 0.3), (5.0, 1.0), (5.0, 0.05))
"""Pairs (due, set-up) of look-ahead factors for the dispatching rule."""
NEVER_LATE_EUR = 1e-3
"""Stands for the late price of a job that has none."""
HARDLY_DUE_MS = 30 * 24 * 3_600_000
"""Stands for the slack of a job without a due time."""
MOST_INSERTED = 120
"""Queues longer than this are not built by insertion, whose effort grows with their cube."""


def first_orders(evaluator: Evaluator) -> Iterator[Plans]:
    """Orders by every heuristic, cheap ones first."""
    for due_factor, setup_factor in LOOK_AHEADS:
        yield dispatched(evaluator, due_factor, setup_factor)
    if len(evaluator.scheduler.problem.jobs) <= MOST_INSERTED:
        yield inserted(evaluator)


def dispatched(evaluator: Evaluator, due_factor: float, setup_factor: float) -> Plans:
    """Append to the line that is free first the job with the largest index.

    I = w/p · exp(−max(d − p − t, 0) / (K1·p̄)) · exp(−s / (K2·s̄)), the rule of apparent tardiness cost
    with set-ups (Lee, Bhaskaran and Pinedo, IIE Transactions 29, 1997); here s is the money that the
    changeover and the waiting before it cost, and w what an hour's lateness costs.
    """
    scheduler = evaluator.scheduler
    plans, waiting = _begun(evaluator)
    state = scheduler.begin(plans)
    while waiting and not evaluator.stop.reached:
        line_idx = _next_line(evaluator, state, waiting)
        if line_idx is None:
            break
        steps = [
            (job_idx, step)
            for job_idx in sorted(waiting)
            for choice_idx in range(min(2, len(evaluator.choices[line_idx][job_idx])))
            if isinstance(
                step := scheduler.next_step(state, evaluator.plan(line_idx, job_idx, choice_idx)), Event
            )
        ]
        if not steps:
            stuck = next(job for job in sorted(waiting) if evaluator.choices[line_idx][job])
            plans[line_idx].append(evaluator.plan(line_idx, stuck))
            waiting.discard(stuck)
            continue
        rule = _Rule(scheduler, [step for _, step in steps], due_factor, setup_factor)
        job_idx, step = max(steps, key=lambda job_step: rule.index(job_step[1]))
        plans[line_idx].append(step.plan)
        state.next_idx[line_idx] = len(plans[line_idx]) - 1
        scheduler.place(state, step)
        waiting.discard(job_idx)
    for job_idx in sorted(waiting):
        _append(evaluator, plans, job_idx)
    return plans


def _begun(evaluator: Evaluator) -> tuple[Plans, set[int]]:
    """Lines with their started runs, and the jobs still to be placed that some line can run."""
    plans = evaluator.started_plans()
    started = {plan.placement.job_idx for line_plans in plans for plan in line_plans}
    return plans, set(evaluator.runnable) - started


def _next_line(evaluator: Evaluator, state: State, waiting: set[int]) -> int | None:
    lines = [
        line_idx
        for line_idx, by_job in enumerate(evaluator.choices)
        if any(by_job[job_idx] for job_idx in waiting)
    ]
    return min(lines, key=lambda line_idx: (state.lines[line_idx].end_ms, line_idx), default=None)


class _Rule:
    """The dispatching rule among the jobs that could be next."""

    def __init__(
        self, scheduler: Scheduler, steps: list[Event], due_factor: float, setup_factor: float
    ) -> None:
        self._scheduler = scheduler
        self._due_ms = due_factor * max(1.0, sum(step.plan.work_ms for step in steps) / len(steps))
        mean_setup_eur = sum(_setup_eur(scheduler, step) for step in steps) / len(steps)
        self._setup_eur = setup_factor * max(1e-9, mean_setup_eur)

    def index(self, step: Event) -> float:
        """Logarithm of the index: it orders alike and never underflows."""
        plan = step.plan
        hour_eur = float(plan.job.late_eur_per_h + plan.job.late_eur)
        value = math.log((hour_eur + NEVER_LATE_EUR) / max(1, plan.work_ms))
        slack_ms = HARDLY_DUE_MS if plan.press_due_ms is None else max(plan.press_due_ms - step.end_ms, 0)
        return value - slack_ms / self._due_ms - _setup_eur(self._scheduler, step) / self._setup_eur


def _setup_eur(scheduler: Scheduler, step: Event) -> float:
    late_eur = scheduler.weighing.late_eur(step.plan, step.end_ms)
    return max(0.0, step.eur - scheduler.weighing.floor_eur(step.plan) - late_eur)


def inserted(evaluator: Evaluator) -> Plans:
    """Insert job after job, soonest due first, where it costs least."""
    plans, waiting = _begun(evaluator)
    jobs = evaluator.scheduler.problem.jobs
    soonest = sorted(
        waiting, key=lambda job_idx: (jobs[job_idx].due_ms is None, jobs[job_idx].due_ms or 0, job_idx)
    )
    for job_idx in soonest:
        if evaluator.stop.reached:
            _append(evaluator, plans, job_idx)
            continue
        states: list[State] = []
        evaluator.score(plans, states)
        best: tuple[Score, int, int, RunPlan] | None = None
        for line_idx, line_plans in enumerate(plans):
            if not evaluator.choices[line_idx][job_idx]:
                continue
            plan = evaluator.plan(line_idx, job_idx)
            for position in range(evaluator.first_free(line_plans), len(line_plans) + 1):
                line_plans.insert(position, plan)
                before = evaluator.state_before(states, [(line_idx, position)])
                score = evaluator.score_from(plans, before, best[0] if best else Score(0, math.inf))
                del line_plans[position]
                if best is None or score.better_than(best[0]):
                    best = (score, line_idx, position, plan)
        if best is None:
            _append(evaluator, plans, job_idx)
        else:
            plans[best[1]].insert(best[2], best[3])
    return plans


def _append(evaluator: Evaluator, plans: Plans, job_idx: int) -> None:
    for line_idx, line_plans in enumerate(plans):
        if evaluator.choices[line_idx][job_idx]:
            line_plans.append(evaluator.plan(line_idx, job_idx))
            return
