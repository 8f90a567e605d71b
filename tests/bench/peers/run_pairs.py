"""Days as general libraries take them: what every pair of runs costs on every line, and plain limits.

A job stands at the stations that the starting order gives it, on other lines at the first that can. The
starting order comes from the construction heuristics, never from a search.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from solver.account import account
from solver.locks import Started
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.search.stop import Stop
from solver.sequence import Order, Placement, Stock
from solver.weights import Weights
from tests.bench.open_hours import OpenHours
from tests.bench.peers.first_engine.engine import best_start
from tests.bench.peers.first_engine.evaluate import Evaluator, order_of
from tests.bench.peers.pair_prices import MS_PER_S, PairPrices
from tests.bench.shop_days import ShopDay

NO_LIMIT_S = 1e9
MOST_DAYS_KEPT = 4


class UnlikeHoursError(ValueError):
    """Lines that are open at different times: the libraries' clock is that of one calendar."""


@dataclass(frozen=True, eq=False)
class RunPairs:
    """A day for a library. Jobs are numbered as in `job_idxs`; times are whole open seconds.

    Parameters
    ----------
    job_idxs
        The problem's jobs that are still to be placed and that some line can run.
    started
        For every line what runs on it when the plan begins.
    start
        The starting order, started runs included.
    eur, seconds
        By line, the run before and the run: what changeover and run cost, weighed, and how long they take.
        Behind the last job comes a row for the line as the plan begins. Infinite and 0 where the line cannot
        run the job.
    waste_um
        By line and job: waste of the incoming web in the mean over all runs before it.
    free_s
        When each line is free first.
    turns
        Jobs as they start in the starting order.
    """

    day: ShopDay
    weights: Weights
    job_idxs: tuple[int, ...]
    started: tuple[tuple[Placement, ...], ...]
    start: Order
    plans: tuple[tuple[RunPlan | None, ...], ...]
    eur: NDArray[np.float64]
    seconds: NDArray[np.int64]
    waste_um: NDArray[np.float64]
    free_s: tuple[int, ...]
    turns: tuple[int, ...]
    hours: OpenHours

    @property
    def jobs(self) -> int:
        """How many jobs are to be placed."""
        return len(self.job_idxs)

    @property
    def lines(self) -> int:
        """How many lines there are."""
        return len(self.plans)

    @cached_property
    def number(self) -> dict[str, int]:
        """Jobs by their id."""
        jobs = self.day.problem.jobs
        return {jobs[job_idx].id: job for job, job_idx in enumerate(self.job_idxs)}

    @cached_property
    def ready_s(self) -> tuple[int, ...]:
        """When every job is ready."""
        jobs = self.day.problem.jobs
        return tuple(open_s(self.hours, jobs[job_idx].ready_ms) for job_idx in self.job_idxs)

    @cached_property
    def press_due_ms(self) -> tuple[int | None, ...]:
        """When every job's run must end, by the clock; None where it is never late."""
        problem = self.day.problem
        dues = (problem.jobs[job_idx].due_ms for job_idx in self.job_idxs)
        return tuple(None if due is None else due - problem.plant.after_press_ms for due in dues)

    @cached_property
    def stopped_eur_per_s(self) -> tuple[float, ...]:
        """What a second costs in which a line waits."""
        lines = self.day.problem.plant.lines
        return tuple(float(self.weights.changeover * line.eur_per_ms) * MS_PER_S for line in lines)

    def late_eur(self, job: int) -> tuple[float, float]:
        """What a job's being late costs once, and a second."""
        late = self.day.problem.jobs[self.job_idxs[job]]
        weigh = self.weights.late
        return float(weigh * late.late_eur), float(weigh * late.late_eur_per_h / 3600)

    def can_run(self, line_idx: int, job: int) -> bool:
        """Whether a line can run a job."""
        return self.plans[line_idx][job] is not None

    def order_of(self, queues: list[list[int]]) -> Order:
        """The order of numbered jobs on every line, behind what has started."""
        order = []
        for line_idx, queue in enumerate(queues):
            plans = (self.plans[line_idx][job] for job in queue)
            order.append((*self.started[line_idx], *(plan.placement for plan in plans if plan is not None)))
        return tuple(order)

    @cached_property
    def start_queues(self) -> list[list[int]]:
        """The starting order as numbered jobs, without what has started."""
        number = {job_idx: job for job, job_idx in enumerate(self.job_idxs)}
        return [
            [number[placement.job_idx] for placement in placements if placement.job_idx in number]
            for placements in self.start
        ]

    @cached_property
    def shared_tools(self) -> dict[str, int]:
        """Counted dies and cylinders of which there may be too few, with how many there are."""
        counted = self.day.problem.copies
        most: dict[str, int] = {}
        for plans in self.plans:
            for key in counted:
                needs = (len(plan.tool_places.get(key, ())) for plan in plans if plan is not None)
                most[key] = most.get(key, 0) + max(needs, default=0)
        return {key: copies for key, copies in counted.items() if most.get(key, 0) > copies}

    def need_um(self, line_idx: int, job: int) -> tuple[Stock, int]:
        """The stock that a job takes on a line, and how much of it.

        Raises
        ------
        ValueError
            Where the line cannot run the job.
        """
        plan = self.plans[line_idx][job]
        if plan is None:
            raise ValueError(f"line {line_idx} cannot run job {job}")
        return plan.stock, plan.own_need_um + math.ceil(self.waste_um[line_idx, job])

    @cached_property
    def short_stocks(self) -> dict[Stock, StockedWidth]:
        """Followed stocks of which there is not enough at the plan's start for all that could take it."""
        most_um: dict[Stock, int] = {}
        for job in range(self.jobs):
            needs = [
                self.need_um(line_idx, job) for line_idx in range(self.lines) if self.can_run(line_idx, job)
            ]
            for stock in {stock for stock, _ in needs}:
                most_um[stock] = most_um.get(stock, 0) + max(um for needed, um in needs if needed == stock)
        followed = self.day.problem.followed_stocks
        return {
            stock: stocked
            for stock, stocked in followed.items()
            if most_um.get(stock, 0) > (stocked.on_hand_um or 0)
        }

    @cached_property
    def stocked_s(self) -> tuple[int, ...]:
        """When the web of every job is there, if jobs take their web in the turn of the starting order."""
        line_of = {job: line_idx for line_idx, queue in enumerate(self.start_queues) for job in queue}
        taken_um = dict.fromkeys(self.short_stocks, 0)
        stocked_s = [0] * self.jobs
        for job in self.turns:
            stock, need_um = self.need_um(line_of[job], job)
            if stock in taken_um:
                taken_um[stock] += need_um
                stocked_s[job] = self._arrived_s(self.short_stocks[stock], taken_um[stock])
        return tuple(stocked_s)

    def _arrived_s(self, stocked: StockedWidth, taken_um: int) -> int:
        """When there is so much of a stock; the last delivery where there never is."""
        there_um, arrived_s = stocked.on_hand_um or 0, 0
        for delivery in sorted(stocked.deliveries, key=lambda delivery: delivery.at_ms):
            if there_um >= taken_um:
                break
            there_um, arrived_s = there_um + delivery.length_um, open_s(self.hours, delivery.at_ms)
        return arrived_s

    @cached_property
    def started_tools(self) -> list[tuple[str, int, int]]:
        """Shared tools that started runs hold: which, how many, until when."""
        problem = self.day.problem
        scheduler = Scheduler(problem, self.weights)
        return [
            (key, len(places), self.free_s[line_idx])
            for line_idx, placements in enumerate(self.started)
            for placement in placements
            for key, places in scheduler.plan(line_idx, placement).tool_places.items()
            if key in self.shared_tools
        ]

    def needed_tools(self, line_idx: int, job: int) -> dict[str, int]:
        """Shared tools that a job holds on a line, and how many of each."""
        plan = self.plans[line_idx][job]
        places = {} if plan is None else plan.tool_places
        return {key: len(places[key]) for key in places if key in self.shared_tools}


def open_s(hours: OpenHours, at_ms: int) -> int:
    """Open seconds until a moment, rounded up: what is ready in a second is not ready at its beginning."""
    return -(-hours.open_ms(at_ms) // MS_PER_S)


@lru_cache(maxsize=MOST_DAYS_KEPT)
def run_pairs(day: ShopDay, weights: Weights) -> RunPairs:
    """A day for the libraries; the same object when asked again, for it takes seconds to work out.

    Raises
    ------
    UnlikeHoursError
        Where lines are open at different times.
    """
    problem = day.problem
    calendars = {line.calendar for line in problem.plant.lines}
    if len(calendars) > 1:
        raise UnlikeHoursError(f"{day.name}: its lines are open at different times")
    hours = OpenHours(problem.plant.lines[0].calendar)
    start = started_from(problem, weights)
    has_started = {problem.job_idx[lock.job] for lock in problem.locks if isinstance(lock, Started)}
    started = tuple(
        tuple(placement for placement in placements if placement.job_idx in has_started)
        for placements in start
    )
    pairing = PairPrices(problem, weights, started)
    stations = {
        (line_idx, placement.job_idx): placement
        for line_idx, placements in enumerate(start)
        for placement in placements
    }
    job_idxs = tuple(
        placement.job_idx
        for placements in start
        for placement in placements
        if placement.job_idx not in has_started
    )
    job_idxs = tuple(sorted(job_idxs))
    plans = tuple(
        tuple(pairing.plan(line_idx, job_idx, stations.get((line_idx, job_idx))) for job_idx in job_idxs)
        for line_idx in range(len(problem.plant.lines))
    )
    runs = sorted(account(problem, start, weights).runs, key=lambda run: run.changeover_start_ms)
    priced = [pairing.priced(line_plans) for line_plans in plans]
    return RunPairs(
        day=day,
        weights=weights,
        job_idxs=job_idxs,
        started=started,
        start=start,
        plans=plans,
        eur=np.array([eur for eur, _, _ in priced]),
        seconds=np.array([seconds for _, seconds, _ in priced]),
        waste_um=np.array([waste_um for _, _, waste_um in priced]),
        free_s=tuple(open_s(hours, free_ms) for free_ms in pairing.free_ms),
        turns=tuple(job_idxs.index(run.job_idx) for run in runs if run.job_idx in job_idxs),
        hours=hours,
    )


def started_from(problem: Problem, weights: Weights) -> Order:
    """The best order of the construction heuristics."""
    evaluator = Evaluator(Scheduler(problem, weights), Stop(time_s=NO_LIMIT_S))
    return order_of(best_start(problem, evaluator))
