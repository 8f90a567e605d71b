"""Alternatives: sequences of the same jobs that trade metres, minutes and lateness against the best one.

They are found by searching the same problem again under other weights, from the best orders known. All are
costed by the account under the goal's own weights, which also decide how changeovers are split. Of those
that run the same jobs and break no more locks, what none dominates is kept, and the choice is made from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple, Protocol

from solver.account import account_with
from solver.baselines import baselines
from solver.feasibility import first_placement
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.search.directions import directions
from solver.search.stop import Stop
from solver.sequence import Order
from solver.sequence import Sequence as RunSequence
from solver.trade_offs import Objectives, dominates, objectives_of, spread
from solver.weights import Weights

MOST_ALTERNATIVES = 8
LIMITS_SHARE = 0.3
"""Share of a search's limits that looking for alternatives takes at most."""
MOST_STARTS = 12
MORE_DIRECTIONS = 2
"""Directions searched beyond the alternatives asked for: not every one leads to something new."""


class VariantSearch(Protocol):
    """Searches the same problem under other weights."""

    def __call__(self, weights: Weights, starts: Sequence[Order], stop: Stop) -> Iterable[Order]:
        """Orders found within the stop's limits, the best among them.

        Under a limit of work they depend on these arguments and the search's seed alone.

        Parameters
        ----------
        starts
            Orders to begin from, at least one; each places every job that can run.
        """
        ...


def with_alternatives(
    problem: Problem, weights: Weights, best: RunSequence, most: int, search: VariantSearch, stop: Stop
) -> tuple[RunSequence, ...]:
    """The best sequence and at most so many alternatives to it, the cheapest first.

    The best is the one given, unless a cheaper one turns up on the way. No sequence leaves out other jobs
    than it, or breaks a lock that it keeps. None is dominated by another, the best one apart: that is
    undercut by none in weighed cost, though another may need fewer metres, dearer ones, and fewer minutes.
    """
    archive = Archive(problem, weights, best)
    begun_s = stop.elapsed_s
    shown = [archive.add(order) for order in baselines(problem).values()]
    costing_s = (stop.elapsed_s - begun_s) / len(shown)
    searched = directions(problem, best, weights)[: most + MORE_DIRECTIONS]
    last = min(1.0, stop.used + LIMITS_SHARE)
    for place, direction in enumerate(searched):
        share = stop.used + max(0.0, last - stop.used) / (len(searched) - place)
        with stop.reserve(1 - min(1.0, share)), stop.reserve_time(costing_s):
            found = () if stop.reached else tuple(search(direction, archive.starts, stop))
        for order in found:
            archive.add(order)
    return (archive.best, *archive.chosen(most, shown))


class Archive:
    """Sequences of one problem under one goal that were met on the way.

    Attributes
    ----------
    best
        The one with the fewest jobs left out and locks broken, then the least weighed cost.
    """

    def __init__(self, problem: Problem, weights: Weights, best: RunSequence) -> None:
        self.best = best
        self._scheduler = Scheduler(problem, weights)
        self._costed = {completed(problem, best.order): best}

    def add(self, order: Order) -> RunSequence:
        """Cost an order, unless it is known."""
        sequence = self._costed.get(order)
        if sequence is None:
            sequence = self._costed[order] = account_with(self._scheduler, order)
            if _rank(sequence) < _rank(self.best):
                self.best = sequence
        return sequence

    @property
    def starts(self) -> list[Order]:
        """Orders that nothing dominates, the cheapest first."""
        return [kept.order for kept in self._kept][:MOST_STARTS]

    def chosen(self, most: int, beside: Iterable[RunSequence]) -> list[RunSequence]:
        """At most so many sequences worth a choice beside the best and what else is shown, cheapest first."""
        others = [kept for kept in self._kept if kept.sequence is not self.best]
        shown = [objectives_of(sequence) for sequence in beside if self._is_comparable(sequence)]
        places = spread(objectives_of(self.best), [other.objectives for other in others], most, shown)
        return [others[place].sequence for place in sorted(places)]

    @property
    def _kept(self) -> list[_Kept]:
        """The best, and what nothing dominates, cheapest first; of equal ones the first that was met."""
        kept: dict[Objectives, _Kept] = {}
        for order, sequence in self._costed.items():
            if sequence is self.best or self._is_comparable(sequence):
                one = _Kept(order, sequence, objectives_of(sequence))
                before = kept.get(one.objectives)
                if before is None or _rank(sequence) < _rank(before.sequence):
                    kept[one.objectives] = one
        return sorted(
            (
                one
                for one in kept.values()
                if one.sequence is self.best or not any(dominates(other, one.objectives) for other in kept)
            ),
            key=lambda one: one.sequence.weighed_eur,
        )

    def _is_comparable(self, sequence: RunSequence) -> bool:
        """Whether it leaves out the same jobs as the best, and breaks no lock that the best keeps."""
        return _left_out(sequence) == _left_out(self.best) and set(sequence.broken_locks) <= set(
            self.best.broken_locks
        )


class _Kept(NamedTuple):
    order: Order
    sequence: RunSequence
    objectives: Objectives


def completed(problem: Problem, order: Order) -> Order:
    """An order with the jobs that it leaves out, though they can run, at the end of the first line that can
    run them.
    """
    placements = [list(line_placements) for line_placements in order]
    placed = {placement.job_idx for line_placements in order for placement in line_placements}
    for job_idx in range(len(problem.jobs)):
        if job_idx in placed:
            continue
        for line_idx, line_placements in enumerate(placements):
            placement = first_placement(problem, line_idx, job_idx)
            if placement is not None:
                line_placements.append(placement)
                break
    return tuple(map(tuple, placements))


def _rank(sequence: RunSequence) -> tuple[int, Fraction]:
    return len(sequence.left_out) + len(sequence.broken_locks), sequence.weighed_eur


def _left_out(sequence: RunSequence) -> frozenset[str]:
    return frozenset(left_out.job for left_out in sequence.left_out)
