"""The bridge to the solver for another plant under the same queue: a plan's order costed and improved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from app.contracts import sequences as contracts
from app.contracts.plant import Plant
from app.errors import BadInput
from app.translation.solving import Question
from app.translation.units import m_from_um, rounded
from solver import sequence as solver_sequence
from solver.account import account_with, placement_faults
from solver.lots import fitted
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.compile import CompiledPlant
from solver.search.plant_search import improved_order
from solver.search.stop import Stop
from solver.sequence import Lot, Order, Placement
from solver.weights import GOALS

CHANGES_A_COSTING = 100
"""How many changes are tried in the time that an order is costed in, roughly."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an order comes to on a plant.

    Parameters
    ----------
    order
        The order that was costed, jobs that cannot run where it had them taken out.
    total_eur, waste_m
        Its plain money and its waste but for the spoilage allowance.
    weighed_eur
        What the goal makes of it.
    left_out
        Jobs that do not run.
    """

    order: Order
    total_eur: Decimal
    waste_m: Decimal
    weighed_eur: Decimal
    left_out: frozenset[str]


class Effort:
    """How much may be spent: seconds, costed orders, or until told to stop; what was spent is counted."""

    def __init__(self, seconds: float | None, work: int | None, cancelled: Callable[[], bool]) -> None:
        self._stop = Stop(seconds, work, cancelled)
        self._seconds, self._work, self._cancelled = seconds, work, cancelled

    @property
    def seconds(self) -> float:
        """Seconds since the beginning."""
        return self._stop.elapsed_s

    @property
    def work(self) -> int:
        """Orders costed so far."""
        return self._stop.done

    def spent(self, share: float) -> bool:
        """Whether a share of it is spent, or it was told to stop."""
        with self._stop.reserve(1 - share):
            return self._stop.reached

    def count(self, work: int = 1) -> None:
        """Note costed orders."""
        self._stop.count(work)

    def part(self, parts: int, most: int) -> Stop:
        """One of so many equal parts of what is left, of at most so many costed orders, in changes tried."""
        left_s = None if self._seconds is None else max(0.0, self._seconds - self.seconds) / parts
        left = most if self._work is None else min(most, max(0, self._work - self.work) // parts)
        return Stop(left_s, left * CHANGES_A_COSTING, self._cancelled)


@dataclass(frozen=True, slots=True)
class SameQueue:
    """A queue and a goal, on whatever plant."""

    question: Question
    goal: contracts.Goal

    def planned(self, sequence: contracts.Sequence, effort: Effort) -> Outcome:
        """A plan's own order on the plant it was made on.

        Raises
        ------
        BadInput
            Where plant or jobs contradict themselves.
        """
        problem = self.question.problem
        runs = {line.line: line.runs for line in sequence.lines}
        order = tuple(
            tuple(_placement(problem, line_idx, run) for run in runs.get(line.id, ()))
            for line_idx, line in enumerate(problem.plant.lines)
        )
        effort.count()
        return self._outcome(Scheduler(problem, GOALS[self.goal]), order)

    def costed(self, plant: Plant, order: Order, effort: Effort) -> Outcome | None:
        """An order on a plant; None where the plant contradicts itself."""
        problem = self._problem(plant)
        effort.count()
        if problem is None:
            return None
        return self._outcome(Scheduler(problem, GOALS[self.goal]), fitted(problem, order))

    def reordered(self, plant: Plant, order: Order, effort: Effort, stop: Stop, seed: int) -> Outcome | None:
        """The best order that a search from an order finds on a plant; None as above.

        Jobs stay out that cannot run where the order has them.
        """
        problem = self._problem(plant)
        if problem is None:
            return None
        compiled = CompiledPlant(problem, GOALS[self.goal])
        found = improved_order(compiled, _possible(problem, fitted(problem, order)), stop, seed)
        effort.count(-(-stop.done // CHANGES_A_COSTING))
        return self._outcome(compiled.scheduler, found)

    def _problem(self, plant: Plant) -> Problem | None:
        try:
            return replace(self.question, plant=plant).problem
        except BadInput:
            return None

    def _outcome(self, scheduler: Scheduler, order: Order) -> Outcome:
        possible = order
        try:
            sequence = account_with(scheduler, order)
        except ValueError:
            possible = _possible(scheduler.problem, order)
            sequence = account_with(scheduler, possible)
        return Outcome(
            order=possible,
            total_eur=_total_eur(sequence.cost),
            waste_m=m_from_um(sum(_waste_um(run) for run in sequence.runs)),
            weighed_eur=rounded(sequence.weighed_eur),
            left_out=frozenset(left_out.job for left_out in sequence.left_out),
        )


def _placement(problem: Problem, line_idx: int, run: contracts.Run) -> Placement:
    station_idx = {station.id: idx for idx, station in enumerate(problem.plant.lines[line_idx].stations)}
    return Placement(
        problem.job_idx[run.job],
        tuple(station_idx[station] for station in run.stations),
        None if run.lot is None else Lot(run.lot.first_label - 1, run.lot.last_label),
    )


def _possible(problem: Problem, order: Order) -> Order:
    """An order without the runs that cannot be made where it has them."""
    return tuple(
        tuple(
            placed
            for placed in placements
            if not placement_faults(problem, line_idx, placed.job_idx, placed.stations)
        )
        for line_idx, placements in enumerate(order)
    )


def _total_eur(cost: solver_sequence.Cost) -> Decimal:
    """All parts of the cost, each rounded as results show it; rolls are not chosen here."""
    parts = (cost.waste_eur, cost.changeover_eur, cost.waiting_eur, cost.running_eur, cost.late_eur)
    return sum((rounded(part) for part in (*parts, cost.moved_eur)), Decimal(0))


def _waste_um(run: solver_sequence.Run) -> int:
    changeover_um = run.changeover.waste_um if run.changeover else 0
    return changeover_um + run.roll_end_waste_um + run.interruption_waste_um
