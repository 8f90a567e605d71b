"""Orders as the search sees them: lists of run plans, scored through the scheduler."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable

from solver.account import placed_jobs
from solver.baselines import started_order
from solver.feasibility import station_choices
from solver.lock_keeping import broken_locks
from solver.locks import Started
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.search.stop import Stop
from solver.sequence import Order, Placement
from solver.timeline import State
from tests.builders.scored import TOLERANCE, Score

Plans = list[list[RunPlan]]

NEVER = Score(1 << 30, float("inf"))


class Evaluator:
    """Scores orders of one problem and counts the work."""

    def __init__(self, scheduler: Scheduler, stop: Stop) -> None:
        self.scheduler = scheduler
        self.stop = stop
        problem = scheduler.problem
        self.choices = [
            [station_choices(problem, line_idx, job_idx) for job_idx in range(len(problem.jobs))]
            for line_idx in range(len(problem.plant.lines))
        ]
        self.runnable = [
            job_idx for job_idx in range(len(problem.jobs)) if any(by_job[job_idx] for by_job in self.choices)
        ]
        self._started = {problem.job_idx[lock.job] for lock in problem.locks if isinstance(lock, Started)}

    def plans(self, order: Order) -> Plans:
        """The run plans of an order."""
        return [
            [self.scheduler.plan(line_idx, placement) for placement in placements]
            for line_idx, placements in enumerate(order)
        ]

    def plan(self, line_idx: int, job_idx: int, choice_idx: int = 0) -> RunPlan:
        """A job on a line, at one of its station choices."""
        return self.scheduler.plan(line_idx, Placement(job_idx, self.choices[line_idx][job_idx][choice_idx]))

    def score(self, plans: Plans, keep: list[State] | None = None) -> Score:
        """Score an order from its beginning; `keep` gets the states before every step."""
        self.stop.count()
        state = self.scheduler.run(plans, keep=keep)
        return NEVER if state is None else self._scored(state)

    def score_from(self, plans: Plans, state: State, limit: Score) -> Score:
        """Score an order from a state that its beginning leads to; `NEVER` once it is sure not to be
        better than the limit.
        """
        self.stop.count()
        limit_eur = limit.eur + TOLERANCE * max(1.0, abs(limit.eur)) if limit.faults == 0 else float("inf")
        again = None if state.dropped or state.unbound else state.snapshot()
        after = self.scheduler.run(plans, again, limit_eur)
        return NEVER if after is None else self._scored(after)

    def started_plans(self) -> Plans:
        """Every line with the run that had started on it, if any."""
        return self.plans(tuple(map(tuple, started_order(self.scheduler.problem))))

    def first_free(self, line_plans: list[RunPlan]) -> int:
        """First position on a line that may be changed: behind its started run."""
        return int(bool(line_plans) and line_plans[0].placement.job_idx in self._started)

    @staticmethod
    def state_before(states: list[State], changed: Iterable[tuple[int, int]]) -> State:
        """The last kept state that changes from (line, position) on do not touch."""
        first = len(states) - 1
        for line_idx, position in changed:
            first = min(first, bisect_left(states, position, key=_placed_on(line_idx)))
        return states[first]

    def _scored(self, state: State) -> Score:
        faults = len(state.dropped)
        locks = self.scheduler.problem.locks
        if locks:
            faults += len(broken_locks(locks, placed_jobs(self.scheduler, state)))
        return Score(faults, state.eur)


def _placed_on(line_idx: int) -> Callable[[State], int]:
    return lambda state: state.next_idx[line_idx]


def order_of(plans: Plans) -> Order:
    """The order behind run plans."""
    return tuple(tuple(plan.placement for plan in line_plans) for line_plans in plans)
