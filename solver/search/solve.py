"""The search, assembled: construct, improve, and cost what comes out with the account."""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Sequence as Several
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from solver.account import account_with
from solver.locks import Lock
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.alternatives import LIMITS_SHARE, MOST_ALTERNATIVES, with_alternatives
from solver.search.compile import CompiledPlant
from solver.search.plant_search import PlantFound, plain_starts, search_plant
from solver.search.stop import Stop
from solver.sequence import Order, Sequence
from solver.weights import Weights

COSTING_SHARE = 1.5
"""How many times as long as compiling a queue the account of its order takes, roughly."""


class Status(StrEnum):
    """How a search came out."""

    FOUND = "found"
    NOTHING_RUNS = "nothing can run"


class ContradictoryLocksError(ValueError):
    """Locks that cannot all be kept; `locks` names a least set of them."""

    def __init__(self, locks: tuple[Lock, ...]) -> None:
        self.locks = locks
        super().__init__("these locks cannot all be kept: " + "; ".join(map(str, locks)))


@dataclass(frozen=True, slots=True)
class Progress:
    """What a search has so far.

    Parameters
    ----------
    best_eur, left_out
        What the best order so far costs, weighed, and how many jobs it leaves out and locks it breaks.
    bound_eur
        A weighed cost that no order undercuts; None: no bound.
    order
        That order.
    used
        Share of the limits that is used up, 0 to 1.
    """

    best_eur: float
    left_out: int
    work: int
    elapsed_s: float
    bound_eur: float | None = None
    order: Order = ()
    used: float = 0.0

    @property
    def gap(self) -> float | None:
        """How far the best may be above the least, as a share of the bound; None: no bound."""
        return gap_above(self.best_eur, self.bound_eur)


class Telling:
    """Tells how far a search is, and those that follow it. What they have is not comparable with what it had:
    of them only work and time are told.
    """

    def __init__(self, on_progress: Callable[[Progress], None] | None, stop: Stop) -> None:
        self._on_progress = on_progress
        self._stop = stop
        self._last: Progress | None = None

    def first(self, found: PlantFound) -> None:
        """Tell what the search itself has found."""
        progress = Progress(
            best_eur=found.eur,
            left_out=found.faults,
            work=found.work,
            elapsed_s=found.elapsed_s,
            bound_eur=found.bound_eur,
            order=found.order,
            used=self._stop.used_of_all,
        )
        self.tell(progress)

    def again(self, found: PlantFound) -> None:
        """Tell that a search that follows goes on."""
        if self._last is not None:
            used = self._stop.used_of_all
            self.tell(replace(self._last, work=found.work, elapsed_s=found.elapsed_s, used=used))

    def go_on_from(self, order: Order) -> None:
        """Another order is the best from now on."""
        if self._last is not None:
            self._last = replace(self._last, order=order)

    def tell(self, progress: Progress) -> None:
        """Tell it as it is."""
        self._last = progress
        if self._on_progress is not None:
            self._on_progress(progress)


def gap_above(eur: float, bound_eur: float | None) -> float | None:
    """How far above a bound something is, as a share of it; None where that says nothing."""
    if bound_eur is None or (bound_eur <= 0 and eur > 0):
        return None
    return max(0.0, eur / bound_eur - 1) if bound_eur > 0 else 0.0


@dataclass(frozen=True, slots=True)
class SearchResult:
    """What a search found.

    Parameters
    ----------
    sequences
        Best first, then its alternatives, the cheapest first; costed by the account.
    bound, gap
        A proven lower bound of the weighed cost and the relative distance to it; None: no bound.
    work
        Changes that were tried.
    """

    status: Status
    sequences: tuple[Sequence, ...]
    bound: Fraction | None
    gap: float | None
    work: int


def solve(
    problem: Problem,
    weights: Weights,
    stop: Stop,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
    threads: int | None = None,
    alternatives: int = 0,
) -> SearchResult:
    """Order a queue so that its weighed cost is least.

    The result depends on problem, weights, seed and work limit alone; with a time limit also on the
    machine. It is never worse than the orders as entered and by due time, nor than what is in force with new
    jobs behind it. `threads` search at the same
    time, None for as many as there are processors, up to 4. At most so many `alternatives`, up to
    `MOST_ALTERNATIVES`, are looked for in a part of the limits.

    Raises
    ------
    ContradictoryLocksError
        Where the locks cannot all be kept.
    ValueError
        Where so many alternatives are not looked for.
    """
    if not 0 <= alternatives <= MOST_ALTERNATIVES:
        raise ValueError(f"alternatives must be 0 to {MOST_ALTERNATIVES}, is {alternatives}")
    arranged = _arranged(problem)
    telling = Telling(on_progress, stop)
    with stop.reserve(LIMITS_SHARE if alternatives else 0.0):
        result = _solve(problem, weights, arranged, stop, seed, telling, threads)
    if not alternatives or result.status is Status.NOTHING_RUNS:
        return result

    def search(weights: Weights, starts: Several[Order], stop: Stop) -> tuple[Order, ...]:
        compiled = CompiledPlant(problem, weights)
        numbers = [compiled.numbers(order) for order in starts]
        return search_plant(compiled, numbers, stop, seed, threads, telling.again, bounded=False).others

    sequences = with_alternatives(problem, weights, result.sequences[0], alternatives, search, stop)
    return _with(result, sequences, stop)


def _with(result: SearchResult, sequences: tuple[Sequence, ...], stop: Stop) -> SearchResult:
    """A result with alternatives, the first of which may be a better best."""
    best_eur = sequences[0].weighed_eur
    bound = None if result.bound is None else min(result.bound, best_eur)
    gap = gap_above(float(best_eur), None if bound is None else float(bound))
    return replace(result, sequences=sequences, bound=bound, gap=gap, work=stop.done)


def _solve(
    problem: Problem,
    weights: Weights,
    arranged: Order | None,
    stop: Stop,
    seed: int,
    telling: Telling,
    threads: int | None,
) -> SearchResult:
    """Islands of compiled kernels."""
    begun_s = stop.elapsed_s
    compiled = CompiledPlant(problem, weights)
    costing_s = COSTING_SHARE * (stop.elapsed_s - begun_s)

    if not compiled.runs:
        return _nothing_runs(compiled.scheduler, stop)
    starts = plain_starts(compiled)
    if arranged is not None:
        starts.append(compiled.numbers(arranged))
    with stop.reserve_time(costing_s):
        found = search_plant(compiled, starts, stop, seed, threads, telling.first)
    sequence = account_with(compiled.scheduler, found.order)
    bound = None if found.bound_eur is None else Fraction(found.bound_eur)
    gap = gap_above(float(sequence.weighed_eur), found.bound_eur)
    return SearchResult(Status.FOUND, (sequence,), bound, gap, found.work)


def _arranged(problem: Problem) -> Order | None:
    """An order that keeps the locks on lines, positions and neighbours; None without locks."""
    if not problem.locks:
        return None
    # Only locks need the constraint solver, which takes as long to import as the whole search.
    from solver.lock_conflicts import arranged_or_conflict

    order, conflict = arranged_or_conflict(problem)
    if conflict:
        raise ContradictoryLocksError(conflict)
    return order


def _nothing_runs(scheduler: Scheduler, stop: Stop) -> SearchResult:
    empty = account_with(scheduler, tuple(() for _ in scheduler.problem.plant.lines))
    return SearchResult(Status.NOTHING_RUNS, (empty,), None, None, stop.done)
