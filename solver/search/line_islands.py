"""Islands that look for the order of one line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from solver.locks import AtPosition, Before, FixedStart, Lock, Together
from solver.problem import Problem
from solver.search.book import Book, ChangeoverTables
from solver.search.changeover_memo import doubled, room_for_changeovers
from solver.search.compile import CompiledLine
from solver.search.decode import TRACED, new_scratch
from solver.search.islands import Halt, Island, Order, Rounds, Score
from solver.search.kernels.line_annealing import Annealing, anneal
from solver.search.kernels.line_changes import Changes
from solver.search.kernels.line_dispatch import DUE_FACTOR, SETUP_FACTOR, Dispatch
from solver.search.kernels.line_locks import (
    AT_POSITION,
    BEFORE_ANOTHER,
    FIXED_START,
    LOCK,
    TOGETHER,
    LockTables,
)
from solver.search.kernels.line_stretches import ALWAYS, SLOT_BITS, STEP
from solver.search.kernels.line_walk import (
    BEST_EUR,
    BEST_FAULTS,
    EUR,
    FAULTS,
    FRESH,
    MISJUDGED,
    UNORDERED,
    WORK,
    LineModel,
    Walk,
)
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tables import CASE, FULL, Floats, Ints
from solver.sequence import Placement

NEAR_JOBS = 10
TINY_EUR = 1e-6

LOOK_AHEADS = ((2.0, 0.3), (10.0, 0.3), (40.0, 0.3))
"""Pairs (due, set-up) of look-ahead factors that dispatching begins with; then those around the best."""

HOPE = 3.0
"""Usual changeovers by which a trial that costs more now may still come out cheaper, by a guess."""
LONGEST_FIRST_CYCLE = 40_000


@dataclass(frozen=True, slots=True)
class AnnealingSettings:
    """What makes one island differ from another.

    Parameters
    ----------
    hot, cold
        Heat at the beginning and the end of a cycle, as a share of what a changeover usually costs.
    steps
        Steps of the first cycle for every run, up to `LONGEST_FIRST_CYCLE`.
    growth
        By how much each next cycle is longer; above 1.
    shares
        Of the changes: next to a near job, any block, swaps, other stations.
    """

    hot: float
    cold: float
    steps: int
    growth: float
    shares: tuple[float, float, float, float]


SETTINGS = (
    AnnealingSettings(0.5, 0.05, 300, 1.5, (0.6, 0.15, 0.15, 0.1)),
    AnnealingSettings(1.0, 0.02, 300, 1.5, (0.6, 0.15, 0.15, 0.1)),
    AnnealingSettings(0.3, 0.02, 600, 1.5, (0.6, 0.15, 0.15, 0.1)),
    AnnealingSettings(2.0, 0.05, 300, 1.3, (0.5, 0.25, 0.15, 0.1)),
)


def line_rounds(runs: int) -> Rounds:
    """How work is dealt out; changes of longer orders take longer."""
    return Rounds(max(200, 600_000 // max(1, runs)), 20)


def line_islands(compiled: CompiledLine, orders: Sequence[Ints], seed: int, halt: Halt) -> list[Island]:
    """The islands of one search, each from the best of these orders and of those dispatched."""
    queue = LineQueue(compiled)
    scout = AnnealingIsland(queue, orders[0], SETTINGS[0], seed, 0, halt)
    best = best_start(scout, orders)
    return [
        AnnealingIsland(queue, best, settings, seed, stream, halt, scout.known_changeovers)
        for stream, settings in enumerate(SETTINGS)
    ]


class LineQueue:
    """What the islands of one line share.

    Attributes
    ----------
    near
        (jobs, k) the jobs that each job likes to follow.
    exchanged
        (plans, pairs) plans with two stations exchanged.
    usual_changeover_eur
        Roughly what a changeover costs.
    """

    def __init__(self, compiled: CompiledLine) -> None:
        self.compiled = compiled
        self.model = line_model(compiled)
        self.jobs = np.flatnonzero(compiled.job_plans[:, 1] > compiled.job_plans[:, 0])
        distances = _distances(compiled, compiled.job_plans[self.jobs, 0])
        self.usual_changeover_eur = usual_changeover_eur(compiled, distances)
        self.near = near_jobs(compiled, self.jobs, distances)
        self.exchanged = exchanged_stations(compiled)


class AnnealingIsland:
    """Simulated annealing of one line's order."""

    def __init__(
        self,
        queue: LineQueue,
        order: Ints,
        settings: AnnealingSettings,
        seed: int,
        stream: int,
        halt: Halt,
        changeovers: ChangeoverTables | None = None,
    ) -> None:
        compiled = queue.compiled
        self._model = queue.model
        self._halt = halt
        self._changeovers = changeovers or room_for_changeovers(len(compiled.web.stations))
        self._book = Book(compiled.tables, compiled.web, self._changeovers, new_scratch(compiled))
        usual_eur = queue.usual_changeover_eur
        self._walk = new_walk(compiled, len(order), HOPE * usual_eur)
        multi = bool((compiled.job_plans[:, 1] - compiled.job_plans[:, 0] > 1).any())
        near_share, block, swaps, stations = settings.shares
        if not multi:
            near_share, stations = near_share + stations, 0.0
        self._changes = Changes(
            near=queue.near,
            job_plans=compiled.job_plans,
            exchanged=queue.exchanged,
            shares=np.array([near_share, block, swaps, stations]),
            randomness=seeded(seed, stream),
        )
        first_cycle = min(LONGEST_FIRST_CYCLE, settings.steps * max(1, len(order)))
        hot, cold = settings.hot * usual_eur, settings.cold * usual_eur
        self._annealing = Annealing(
            counts=np.array([0, first_cycle, 0, 0, 0, 0], np.int64),
            heat=np.array([hot, cold, hot, settings.growth, np.inf]),
        )
        self._dispatch = new_dispatch(len(order), usual_eur)
        self.adopt(order)

    @property
    def known_changeovers(self) -> ChangeoverTables:
        """A copy of the changeovers worked out so far."""
        known = self._changeovers
        # Copied as set-ups, which fill it: a copy of cases would leave out what lies between their fields.
        setups = known.setups.copy()
        return ChangeoverTables(setups.view(CASE), setups, known.guarded.copy(), known.known.copy())

    def dispatch(self, due_factor: float, setup_factor: float) -> Score:
        """Dispatch all jobs and go on from there; returns how good that is."""
        self._dispatch.factors[DUE_FACTOR] = due_factor
        self._dispatch.factors[SETUP_FACTOR] = setup_factor
        self._walk.counts[FRESH] = UNORDERED
        self.advance(0)
        return float(self._walk.counts[FAULTS]), float(self._walk.eur[EUR])

    def advance(self, work: int) -> int:
        before = int(self._walk.counts[WORK])
        while True:
            code = anneal(
                self._book.rows,
                self._model,
                self._walk,
                self._changes,
                self._annealing,
                self._dispatch,
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

    @property
    def misjudged(self) -> int:
        """How many changes cost something else, once taken, than was reckoned: there should be none."""
        return int(self._walk.counts[MISJUDGED])

    def adopt(self, order: Order) -> None:
        self._walk.trial[:] = order
        self._walk.counts[FRESH] = 1
        self.advance(0)


def best_start(scout: AnnealingIsland, orders: Sequence[Ints]) -> Ints:
    """The best of these orders and of those that dispatching gives with several look-aheads."""
    for order in orders[1:]:
        scout.adopt(order)
    tried: dict[tuple[float, float], Score] = {}

    def try_out(look_aheads: Iterable[tuple[float, float]]) -> tuple[float, float]:
        for look_ahead in look_aheads:
            if look_ahead not in tried:
                tried[look_ahead] = scout.dispatch(*look_ahead)
        return min(tried, key=lambda look_ahead: (tried[look_ahead], look_ahead))

    due, setup = try_out(LOOK_AHEADS)
    due, setup = try_out([(due / 2, setup), (due * 2, setup)])
    try_out([(due, setup / 3), (due, setup * 3)])
    return scout.best[1].copy()


def new_dispatch(runs: int, usual_setup_eur: float) -> Dispatch:
    """Room for dispatching so many runs; a set-up is first expected to cost so much."""
    return Dispatch(
        waiting=np.zeros(runs, np.int64),
        promise=np.zeros(runs),
        chosen=np.zeros(2, np.int64),
        counts=np.zeros(4, np.int64),
        factors=np.array([1.0, 1.0, 0.0, usual_setup_eur, usual_setup_eur, 0.0, 0.0, 0.0]),
    )


def line_model(compiled: CompiledLine) -> LineModel:
    """What the kernels read of a compiled line."""
    return LineModel(
        locks=lock_tables(compiled.problem),
        start=compiled.state,
        start_eur=np.array([compiled.eur]),
        uses=used_slots(compiled),
        asleep=np.array([_bits(np.flatnonzero(compiled.tables.resets))], np.int64),
    )


def used_slots(compiled: CompiledLine) -> Ints:
    """(plans,) the slots that each plan looks at, as bits."""
    tables = compiled.tables
    fixed = {lock.job for lock in compiled.problem.locks if isinstance(lock, FixedStart)}
    slots = len(compiled.slots.slots)
    found = np.zeros(len(compiled.plans), np.int64)
    for idx in range(len(found)):
        used = {
            int(need["slot"])
            for rows in (tables.differs, tables.washed, tables.added, tables.threaded)
            for need in rows[idx]
        }
        used.update(
            int(slot)
            for slot in tables.tools["slot"][tables.plans[idx]["tools_from"] : tables.plans[idx]["tools_to"]]
        )
        found[idx] = _bits(slot for slot in used if slot < slots)
        found[idx] |= (
            ALWAYS if compiled.problem.jobs[compiled.plans[idx].placement.job_idx].id in fixed else 0
        )
    return found


def _bits(slots: Iterable[int]) -> int:
    bits = 0
    for slot in slots:
        bits |= 1 << int(slot) % SLOT_BITS
    return bits


def new_walk(compiled: CompiledLine, runs: int, hope_eur: float) -> Walk:
    """Room for a walk over orders of so many runs; its best is nothing yet."""
    state = len(compiled.state)
    has_fixed = any(isinstance(lock, FixedStart) for lock in compiled.problem.locks)
    counts = np.zeros(7, np.int64)
    counts[BEST_FAULTS] = 1 << 60
    return Walk(
        order=np.zeros(runs, np.int64),
        trial=np.zeros(runs, np.int64),
        best=np.zeros(runs, np.int64),
        origin=np.arange(runs),
        place=np.full(len(compiled.problem.jobs), -1, np.int64),
        kept=np.zeros((runs + 1, state), np.int64),
        kept_eur=np.zeros(runs + 1),
        steps=np.zeros(runs, STEP),
        late_eur=np.zeros(runs + 1),
        state=np.zeros(state, np.int64),
        counts=counts,
        eur=np.array([np.inf, np.inf, hope_eur, 0.0]),
        trace=np.zeros((runs, TRACED), np.int64),
        kept_trace=np.zeros((runs if has_fixed else 0, TRACED), np.int64),
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


def near_jobs(compiled: CompiledLine, jobs: Ints, distances: Floats) -> Ints:
    """(jobs, k) the jobs that each job likes to follow, nearest first, -1 where there are fewer.

    Nearness is what would change at the stations that both use, and the splice.
    """
    k = min(NEAR_JOBS, max(1, len(jobs) - 1))
    near = np.full((len(compiled.job_plans), k), -1, np.int64)
    if len(jobs) > 1:
        others = distances.copy()
        np.fill_diagonal(others, np.inf)
        near[jobs] = jobs[np.argsort(others, axis=1, kind="stable")[:, :k]]
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


def usual_changeover_eur(compiled: CompiledLine, distances: Floats) -> float:
    """Roughly what a changeover costs: the middle distance between jobs, at least a minute of the line."""
    minute_eur = 60_000 * float(compiled.web.path[0]["ms_eur"])
    middle = float(np.median(distances)) if distances.size else 0.0
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
