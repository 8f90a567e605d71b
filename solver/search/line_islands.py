"""Islands that look for the order of one line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from solver.locks import AtPosition, Before, FixedStart, Lock, Together
from solver.problem import Problem
from solver.search.book import Book
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.compile import CompiledLine
from solver.search.decode import TRACED, new_scratch
from solver.search.islands import Halt, Island, Order, Rounds, Score
from solver.search.kernels.line_annealing import Annealing, anneal
from solver.search.kernels.line_locks import (
    AT_POSITION,
    BEFORE_ANOTHER,
    FIXED_START,
    LOCK,
    TOGETHER,
    LockTables,
)
from solver.search.kernels.line_walk import (
    BEST_EUR,
    BEST_FAULTS,
    FRESH,
    WORK,
    LineModel,
    Walk,
)
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tables import FULL, Floats, Ints
from solver.sequence import Placement

NEAR_JOBS = 10
TINY_EUR = 1e-6

HOPE = 3.0


@dataclass(frozen=True, slots=True)
class AnnealingSettings:
    """What makes one island differ from another.

    Parameters
    ----------
    hot, cold
        Heat at the beginning and the end of a cycle, as a share of what a changeover costs in the mean.
    first_cycle
        Steps of the first cycle; each next one is twice as long.
    shares
        Of the changes: next to a near job, any block, swaps, other stations.
    """

    hot: float
    cold: float
    first_cycle: int
    shares: tuple[float, float, float, float]


SETTINGS = (
    AnnealingSettings(1.0, 0.01, 20_000, (0.5, 0.25, 0.15, 0.1)),
    AnnealingSettings(0.3, 0.01, 40_000, (0.6, 0.15, 0.15, 0.1)),
    AnnealingSettings(0.1, 0.005, 40_000, (0.6, 0.15, 0.15, 0.1)),
    AnnealingSettings(3.0, 0.01, 100_000, (0.4, 0.35, 0.15, 0.1)),
)


def line_rounds(runs: int) -> Rounds:
    """How work is dealt out; changes of longer orders take longer."""
    return Rounds(max(200, 600_000 // max(1, runs)), 20)


def line_islands(compiled: CompiledLine, orders: Sequence[Ints], seed: int, halt: Halt) -> list[Island]:
    """The islands of one search, each from the best of these orders."""
    model = line_model(compiled)
    near = near_jobs(compiled)
    exchanged = exchanged_stations(compiled)
    return [
        AnnealingIsland(compiled, model, near, exchanged, orders, settings, seed, stream, halt)
        for stream, settings in enumerate(SETTINGS)
    ]


class AnnealingIsland:
    """Simulated annealing of one line's order."""

    def __init__(
        self,
        compiled: CompiledLine,
        model: LineModel,
        near: Ints,
        exchanged: Ints,
        orders: Sequence[Ints],
        settings: AnnealingSettings,
        seed: int,
        stream: int,
        halt: Halt,
    ) -> None:
        self._model = model
        self._halt = halt
        self._changeovers = room_for_changeovers(len(compiled.web.stations))
        self._book = Book(compiled.tables, compiled.web, self._changeovers, new_scratch(compiled))
        scale = usual_changeover_eur(compiled)
        self._walk = new_walk(compiled, len(orders[0]), HOPE * scale)
        multi = bool((compiled.job_plans[:, 1] - compiled.job_plans[:, 0] > 1).any())
        near_share, block, swaps, stations = settings.shares
        if not multi:
            near_share, stations = near_share + stations, 0.0
        self._annealing = Annealing(
            near=near,
            job_plans=compiled.job_plans,
            exchanged=exchanged,
            steps=np.array([0, settings.first_cycle], np.int64),
            heat=np.array([settings.hot, settings.cold, settings.hot]) * scale,
            shares=np.array([near_share, block, swaps, stations]),
            randomness=seeded(seed, stream),
        )
        for order in orders:
            self.adopt(order)
        self.adopt(self._walk.best.copy())

    def advance(self, work: int) -> int:
        before = int(self._walk.counts[WORK])
        while True:
            code = anneal(
                self._book.rows,
                self._model,
                self._walk,
                self._annealing,
                before + work,
                self._halt,
            )
            if code != FULL:
                return int(self._walk.counts[WORK]) - before
            self._changeovers = doubled(self._changeovers)
            self._book.enter(self._changeovers)

    @property
    def best(self) -> tuple[Score, Order]:
        walk = self._walk
        return (float(walk.counts[BEST_FAULTS]), float(walk.eur[BEST_EUR])), walk.best

    def adopt(self, order: Order) -> None:
        self._walk.trial[:] = order
        self._walk.counts[FRESH] = 1
        self.advance(0)


def line_model(compiled: CompiledLine) -> LineModel:
    """What the kernels read of a compiled line."""
    return LineModel(
        locks=lock_tables(compiled.problem),
        start=compiled.state,
        start_eur=np.array([compiled.eur]),
    )


def new_walk(compiled: CompiledLine, runs: int, hope_eur: float) -> Walk:
    """Room for a walk over orders of so many runs; its best is nothing yet."""
    state = len(compiled.state)
    has_fixed = any(isinstance(lock, FixedStart) for lock in compiled.problem.locks)
    counts = np.zeros(5, np.int64)
    counts[BEST_FAULTS] = 1 << 60
    return Walk(
        order=np.zeros(runs, np.int64),
        trial=np.zeros(runs, np.int64),
        best=np.zeros(runs, np.int64),
        place=np.full(len(compiled.problem.jobs), -1, np.int64),
        kept=np.zeros((runs + 1, state), np.int64),
        kept_eur=np.zeros(runs + 1),
        state=np.zeros(state, np.int64),
        counts=counts,
        eur=np.array([np.inf, np.inf, hope_eur]),
        trace=np.zeros((runs if has_fixed else 0, TRACED), np.int64),
        slack_ms=np.zeros(runs + 1, np.int64),
        late_eur=np.zeros(runs + 1),
        no_snapshots=np.zeros((0, state), np.int64),
        no_costs=np.zeros(0),
    )


def lock_tables(problem: Problem) -> LockTables:
    """The locks that an order of one line can break."""
    rows: list[tuple[int, int, int, int, int]] = []
    members: list[int] = []
    for lock in problem.locks:
        first = len(members)
        if isinstance(lock, Together):
            members.extend(problem.job_idx[job] for job in lock.jobs)
        row = _lock_row(problem, lock)
        if row is not None:
            rows.append((*row, first, len(members)))
    return LockTables(
        locks=np.array(rows, LOCK),
        members=np.array(members, np.int64),
        places=np.zeros(len(problem.jobs), np.int64),
    )


def _lock_row(problem: Problem, lock: Lock) -> tuple[int, int, int] | None:
    match lock:
        case Together():
            return TOGETHER, 0, 0
        case AtPosition():
            return AT_POSITION, problem.job_idx[lock.job], lock.position
        case Before():
            return BEFORE_ANOTHER, problem.job_idx[lock.job], problem.job_idx[lock.then]
        case FixedStart():
            return FIXED_START, problem.job_idx[lock.job], lock.start_ms
        case _:
            return None


def near_jobs(compiled: CompiledLine) -> Ints:
    """(jobs, k) the jobs that each job likes to follow, nearest first, -1 where there are fewer.

    Nearness is what would change at the stations that both use, and the splice.
    """
    first_plans = np.array([first if last > first else -1 for first, last in compiled.job_plans])
    jobs = np.flatnonzero(first_plans >= 0)
    distance = _distances(compiled, first_plans[jobs])
    np.fill_diagonal(distance, np.inf)
    k = min(NEAR_JOBS, max(1, len(jobs) - 1))
    near = np.full((len(first_plans), k), -1, np.int64)
    if len(jobs) > 1:
        by_distance = np.argsort(distance, axis=1, kind="stable")[:, :k]
        near[jobs] = jobs[by_distance]
    return near


def _distances(compiled: CompiledLine, plans: Ints) -> Floats:
    """(after, before) euro that changes at shared stations and another stock take, roughly."""
    tables, web = compiled.tables, compiled.web
    slots = len(web.slot_stations)
    held = np.full((len(plans), slots), -1, np.int64)
    for rows in (tables.differs, tables.washed, tables.added, tables.threaded):
        for idx, plan in enumerate(plans):
            for need in rows[plan]:
                held[idx, need["slot"]] = need["value"]
    times_ms = web.slot_times.max(axis=1) / web.path[0]["unit"]
    distance = np.zeros((len(plans), len(plans)))
    for slot in range(slots - 1):
        value = held[:, slot]
        both = (value[:, None] >= 0) & (value[None, :] >= 0)
        distance += (both & (value[:, None] != value[None, :])) * times_ms[slot] * web.path[0]["ms_eur"]
    shapes = tables.plans["shape"][plans]
    stocks = web.price_stocks[shapes]
    settle_um = web.path[0]["settle_um"] + web.path[0]["splice_um"]
    splice_ms = web.threading[shapes][:, shapes, 0].T / web.path[0]["unit"]
    other = stocks[:, None] != stocks[None, :]
    distance += splice_ms * web.path[0]["ms_eur"] + other * settle_um * web.um_eur[stocks][:, None]
    return distance


def usual_changeover_eur(compiled: CompiledLine) -> float:
    """Roughly what a changeover costs: the middle distance between jobs, at least a minute of the line."""
    first_plans = np.array([first for first, last in compiled.job_plans if last > first])
    minute_eur = 60_000 * float(compiled.web.path[0]["ms_eur"])
    middle = float(np.median(_distances(compiled, first_plans))) if len(first_plans) else 0.0
    return max(middle, minute_eur, TINY_EUR)


def exchanged_stations(compiled: CompiledLine) -> Ints:
    """(plans, pairs) the plan with two stations exchanged, -1 where there is none; no pairs where no job
    has a choice.
    """
    number = {plan.placement: idx for idx, plan in enumerate(compiled.plans)}
    chosen: set[int] = set()
    for first, last in compiled.job_plans:
        if last - first > 1:
            chosen.update(idx for plan in compiled.plans[first:last] for idx in plan.placement.stations)
    pairs = list(combinations(sorted(chosen), 2))
    found = np.full((len(compiled.plans), len(pairs)), -1, np.int64)
    for pair_idx, pair in enumerate(pairs):
        other = dict(zip(pair, reversed(pair), strict=True))
        for idx, plan in enumerate(compiled.plans):
            stations = tuple(other.get(station, station) for station in plan.placement.stations)
            if stations != plan.placement.stations:
                found[idx, pair_idx] = number.get(Placement(plan.placement.job_idx, stations), -1)
    return found
