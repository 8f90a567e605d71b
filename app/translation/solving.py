"""The bridge to the solver: a queue in contracts, what the solver makes of it in contracts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Protocol

from app.contracts import sequences as contracts
from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import OrderedRun, RunOrder
from app.contracts.plant import Plant
from app.contracts.readiness import JobReadiness, LineFit, Readiness, StockNeed
from app.errors import BadInput, Fault
from app.translation.alternatives import alternative_contracts
from app.translation.in_force import solver_in_force_of, solver_lot_of
from app.translation.jobs import dated, solver_job_of
from app.translation.locks import lock_text, solver_lock_of
from app.translation.plant import solver_plant_of
from app.translation.run_orders import run_order_of
from app.translation.sequences import Costed, baseline_contract, sequence_contract
from app.translation.times import PlanClock
from app.translation.units import m_from_um, mm_from_um, rounded
from solver import jobs as solver_jobs
from solver.account import account, placement_faults
from solver.baselines import as_entered, baselines
from solver.cheapest_rolls import RolledSequence, cheapest_rolls, oldest_first_rolls
from solver.feasibility import reasons, station_choices
from solver.ledger import web_ledger
from solver.lots import lot_faults
from solver.plant import StockedWidth
from solver.problem import Problem
from solver.search.preparation import is_prepared, prepare
from solver.search.rolled import RolledResult, solve_with_rolls
from solver.search.solve import ContradictoryLocksError, Progress
from solver.search.stop import Stop
from solver.sequence import Lot, Order, Placement, Stock
from solver.sequence import Sequence as SolverSequence
from solver.weights import GOALS


@dataclass(frozen=True, slots=True)
class Limits:
    """When a search ends: after seconds, after a number of costed sequences, or when told to."""

    seconds: float | None = None
    work: int | None = None
    cancelled: Callable[[], bool] = lambda: False


class OnProgress(Protocol):
    """Told now and then how far a search has come."""

    def __call__(self, progress: contracts.Progress, /) -> None: ...


class OnIncumbent(Protocol):
    """Told the best order so far of a search whenever it is another one."""

    def __call__(self, order: RunOrder, /) -> None: ...


class _Told:
    """Tells how far a search is, and its best order, in the words of people.

    Before its islands have placed anything, what they begin from costs nothing that could be told.
    """

    def __init__(
        self, problem: Problem, on_progress: OnProgress | None, on_incumbent: OnIncumbent | None
    ) -> None:
        self._problem = problem
        self._on_progress = on_progress
        self._on_incumbent = on_incumbent
        self._order: Order | None = None

    def __call__(self, progress: Progress) -> None:
        if not math.isfinite(progress.best_eur):
            return
        if self._on_incumbent is not None and progress.order != self._order:
            self._order = progress.order
            self._on_incumbent(run_order_of(self._problem, progress.order))
        if self._on_progress is not None:
            self._on_progress(
                contracts.Progress(
                    best_eur=progress.best_eur,
                    left_out=progress.left_out,
                    work=progress.work,
                    elapsed_s=progress.elapsed_s,
                    gap=progress.gap,
                    bound_eur=progress.bound_eur,
                    percent=100 * progress.used,
                )
            )


@dataclass(frozen=True, eq=False)
class Question:
    """A queue on a site, from a start on: what everything that people ask is asked of.

    It is translated once, when something is asked first, and remembers the rolls of the order last asked
    about.

    Parameters
    ----------
    start
        When the plan begins; without an offset on the site's clock.
    locks
        What is fixed about the order.
    in_force
        The sequence that people work to so far: each of its runs that an order has elsewhere costs the
        plant's `moved_run_eur`. Its jobs may be done by now.
    undated
        By number, jobs that were translated for this plant before; their times do not count.
    """

    plant: Plant
    jobs: Sequence[Job]
    start: datetime
    locks: Sequence[Lock] = ()
    in_force: RunOrder | None = None
    undated: Mapping[str, solver_jobs.Job] = field(default_factory=dict)

    @cached_property
    def clock(self) -> PlanClock:
        """Between the site's clock and ms from the plan's start."""
        return PlanClock.at(self.start, self.plant.site.zone_info)

    @cached_property
    def problem(self) -> Problem:
        """The queue for the solver.

        Raises
        ------
        BadInput
            With whatever the solver refuses.
        """
        plant, clock = self.plant, self.clock
        try:
            solver_plant = solver_plant_of(plant, clock, {job.job for job in self.jobs})
            return Problem(
                plant=solver_plant,
                jobs=tuple(self._solver_job(job) for job in self.jobs),
                locks=tuple(solver_lock_of(lock, clock) for lock in self.locks),
                in_force=None if self.in_force is None else solver_in_force_of(self.in_force, solver_plant),
            )
        except ValueError as error:
            raise BadInput(Fault(right=line) for line in str(error).splitlines()) from error

    def _solver_job(self, job: Job) -> solver_jobs.Job:
        known = self.undated.get(job.job)
        if known is None:
            return solver_job_of(self.plant, job, self.clock)
        return dated(known, job, self.clock)

    @cached_property
    def _last_rolled(self) -> dict[tuple[Order, contracts.Goal], RolledSequence]:
        """The order last asked about, with its rolls."""
        return {}

    def plan(
        self,
        goal: contracts.Goal,
        limits: Limits,
        seed: int,
        on_progress: OnProgress | None,
        on_compile: Callable[[], None] = lambda: None,
        alternatives: int = 0,
        on_incumbent: OnIncumbent | None = None,
    ) -> contracts.CostedPlan:
        """Search for the best order under a goal, and for so many alternatives at most; what has to be
        compiled first takes none of its time.

        Raises
        ------
        BadInput
            Where the locks contradict each other; it names a least set of them.
        """
        if not is_prepared(self.problem):
            on_compile()
            prepare(self.problem)
        stop = Stop(time_s=limits.seconds, work=limits.work, cancelled=limits.cancelled)

        told = _Told(self.problem, on_progress, on_incumbent)
        try:
            found = solve_with_rolls(self.problem, GOALS[goal], stop, seed, told, alternatives=alternatives)
        except ContradictoryLocksError as error:
            named = "; ".join(lock_text(lock, self.clock) for lock in error.locks)
            raise BadInput([Fault(f"these cannot all be kept: {named}", field="locks")]) from error
        best, *others = found.sequences
        self._remember(found.asked, goal, best)
        return self._costed_plan(goal, best, _search(found, seed, alternatives), others)

    def cost(self, order: RunOrder, goal: contracts.Goal) -> contracts.CostedPlan:
        """Cost a given order with the rolls that cost least for it.

        Raises
        ------
        BadInput
            Where a job cannot run where the order has it, or is missing.
        """
        return self._costed_plan(goal, self.rolled(order, goal), None)

    def rolled(self, order: RunOrder, goal: contracts.Goal) -> RolledSequence:
        """A given order with the rolls that cost least for it; the same whenever it is asked for.

        Raises
        ------
        BadInput
            Where a job cannot run where the order has it, or is missing.
        """
        return self.with_rolls(self.placements(order), goal)

    def with_rolls(self, placements: Order, goal: contracts.Goal) -> RolledSequence:
        """The same of an order in placements."""
        rolled = self._last_rolled.get((placements, goal))
        if rolled is None:
            rolled = RolledSequence(*cheapest_rolls(self.problem, placements, GOALS[goal]))
            self._remember(placements, goal, rolled)
        return rolled

    def _remember(self, placements: Order, goal: contracts.Goal, rolled: RolledSequence) -> None:
        self._last_rolled.clear()
        self._last_rolled[placements, goal] = rolled

    def readiness(self) -> Readiness:
        """What is not ready, what cannot run, and what the queue takes from the store."""
        entered = account(self.problem, as_entered(self.problem), GOALS[contracts.Goal.BALANCED])
        return Readiness(
            start=self.clock.moment(0),
            jobs=tuple(self._job_readiness(job_idx, entered) for job_idx in range(len(self.problem.jobs))),
            stocks=self._stock_needs(entered),
        )

    def _costed_plan(
        self,
        goal: contracts.Goal,
        best: RolledSequence,
        search: contracts.Search | None,
        others: Sequence[RolledSequence] = (),
    ) -> contracts.CostedPlan:
        return contracts.CostedPlan(
            sequence=sequence_contract(self._costed(goal, best)),
            baselines=tuple(
                baseline_contract(self._costed(goal, baseline), name)
                for name, baseline in self.baselines(goal).items()
            ),
            search=search,
            alternatives=alternative_contracts(
                self._costed(goal, best), [self._costed(goal, other) for other in others]
            ),
        )

    def baselines(self, goal: contracts.Goal) -> dict[str, RolledSequence]:
        """Orders nobody searched for, by name, with the rolls that nobody chose: the oldest first."""
        return {
            name: RolledSequence(*oldest_first_rolls(self.problem, order, GOALS[goal]))
            for name, order in baselines(self.problem).items()
        }

    def _costed(self, goal: contracts.Goal, rolled: RolledSequence) -> Costed:
        return Costed(rolled, self.clock, self.plant.site.name, goal, GOALS[goal])

    def placements(self, order: RunOrder) -> Order:
        """Placements of a given order; every fault of it is told at once.

        Raises
        ------
        BadInput
            Where a job cannot run where the order has it, or is missing.
        """
        faults = self._missing(order)
        placements: list[list[Placement]] = [[] for _ in self.problem.plant.lines]
        for line_order in order.lines:
            line_idx = self.problem.line_idx[line_order.line]
            for run in line_order.runs:
                placed = self._placement(line_idx, run, order.file)
                if isinstance(placed, Fault):
                    faults.append(placed)
                else:
                    placements[line_idx].append(placed)
        faults += self._lot_faults(order)
        if faults:
            raise BadInput(faults)
        return tuple(tuple(line_placements) for line_placements in placements)

    def _missing(self, order: RunOrder) -> list[Fault]:
        """Jobs that the order neither places nor leaves out, though some line could run them."""
        named = {run.job for line_order in order.lines for run in line_order.runs} | set(order.left_out)
        named |= {left_out.job for left_out in order.left_out_lots}
        return [
            Fault("must be in the order: a line can run it", file=order.file, field="job", value=job.id)
            for job_idx, job in enumerate(self.problem.jobs)
            if job.id not in named
            and any(
                station_choices(self.problem, line_idx, job_idx)
                for line_idx in range(len(self.problem.plant.lines))
            )
        ]

    def _lot_faults(self, order: RunOrder) -> Iterator[Fault]:
        """Jobs whose lots, those meant to stay out among them, do not part them as they may be parted."""
        runs = [run for line_order in order.lines for run in line_order.runs]
        parts = [(run.job, run.lot, run.row) for run in runs]
        parts += [(left_out.job, left_out.lot, left_out.row) for left_out in order.left_out_lots]
        lots: dict[str, list[Lot]] = {}
        rows: dict[str, int | None] = {}
        for job, labels, row in parts:
            if labels is not None:
                lots.setdefault(job, []).append(solver_lot_of(labels))
                rows.setdefault(job, row)
        for job, of_job in lots.items():
            for why in lot_faults(self.problem, self.problem.job_idx[job], of_job):
                yield Fault(why, file=order.file, row=rows[job], field="first_label", value=job)

    def _placement(self, line_idx: int, run: OrderedRun, file: str | None) -> Placement | Fault:
        job_idx = self.problem.job_idx[run.job]
        line = self.problem.plant.lines[line_idx]
        if run.stations is None:
            stations = next(iter(station_choices(self.problem, line_idx, job_idx)), ())
        else:
            station_idx = {station.id: idx for idx, station in enumerate(line.stations)}
            stations = tuple(station_idx[station] for station in run.stations)
        why = placement_faults(self.problem, line_idx, job_idx, stations)
        if not why:
            return Placement(job_idx, stations, None if run.lot is None else solver_lot_of(run.lot))
        return Fault(
            right=f"cannot run on {line.id}: {'; '.join(why)}",
            file=file,
            row=run.row,
            field="job" if run.stations is None else "stations",
            value=run.job if run.stations is None else f"{run.job} at {';'.join(run.stations)}",
        )

    def _job_readiness(self, job_idx: int, entered: SolverSequence) -> JobReadiness:
        job = self.problem.jobs[job_idx]
        fits = tuple(
            LineFit(line=line.id, reasons=reasons(self.problem, line_idx, job_idx))
            for line_idx, line in enumerate(self.problem.plant.lines)
        )
        runnable = any(not fit.reasons for fit in fits)
        left_out = next((left.reasons for left in entered.left_out if left.job == job.id), ())
        press_due_ms = 0 if job.due_ms is None else job.due_ms - self.problem.plant.after_press_ms
        return JobReadiness(
            job=job.id,
            lines=fits,
            not_ready_until=self.clock.moment(job.ready_ms) if job.ready_ms > 0 else None,
            overdue_since=self.clock.moment(press_due_ms) if press_due_ms < 0 else None,
            left_out=left_out if runnable else (),
        )

    def _stock_needs(self, entered: SolverSequence) -> tuple[StockNeed, ...]:
        needed_um: dict[Stock, int] = {}
        for pieces in web_ledger(self.problem, entered):
            for piece in pieces:
                needed_um[piece.stock] = needed_um.get(piece.stock, 0) + piece.length_um
        return tuple(
            _stock_need(stock, length_um, self._stocked(stock)) for stock, length_um in needed_um.items()
        )

    def _stocked(self, stock: Stock) -> StockedWidth | None:
        widths = self.problem.substrates[stock.substrate].widths
        return next((stocked for stocked in widths if stocked.width_um == stock.width_um), None)


def _stock_need(stock: Stock, needed_um: int, stocked: StockedWidth | None) -> StockNeed:
    deliveries = stocked.deliveries if stocked else ()
    on_hand_um = stocked.on_hand_um if stocked else None
    if on_hand_um is not None:
        on_hand_um += sum(delivery.length_um for delivery in deliveries if delivery.at_ms == 0)
    return StockNeed(
        substrate=stock.substrate,
        width_mm=mm_from_um(stock.width_um),
        needed_m=m_from_um(needed_um),
        on_hand_m=None if on_hand_um is None else m_from_um(on_hand_um),
        to_come_m=m_from_um(sum(delivery.length_um for delivery in deliveries if delivery.at_ms > 0)),
    )


def _search(found: RolledResult, seed: int, alternatives: int) -> contracts.Search:
    result = found.result
    return contracts.Search(
        status=result.status.value,
        work=result.work,
        seed=seed,
        bound_eur=None if result.bound is None else rounded(result.bound),
        gap=result.gap,
        alternatives=alternatives,
        by_usual_rolls=found.sequences[0].problem.chosen_rolls is not None,
    )
