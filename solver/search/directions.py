"""Other weights under which the same queue is searched for alternatives.

They are scaled by what the best order found comes to: a metre's price is raised until its waste weighs as
much as its set-up and stopped time, or several times as much. So a direction leads somewhere else also
where stock is cheap beside the line's minutes, or the other way round, and under whatever goal.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from solver.problem import Problem
from solver.sequence import Sequence
from solver.trade_offs import objectives_of
from solver.weights import Weights

STRONG, MILD = 3, 1
"""How many times as much as set-up and stopped time the waste weighs."""
STRONG_TIME, MILD_TIME = 10, 4
"""Factors on the minutes."""
ON_TIME, RATHER_ON_TIME, AS_LATE, RATHER_LATE = Fraction(30), Fraction(4), Fraction(1), Fraction(1, 4)
"""Factors on late costs. A far larger one pays much for the last cents of lateness."""


def directions(problem: Problem, best: Sequence, weights: Weights) -> tuple[Weights, ...]:
    """Weights that lead away from the best order found under `weights`, the ends first.

    Least waste without more lateness, least set-up and stopped time without more lateness, on time whatever
    it costs; then what lies between; at last plain money, where that is not the goal.
    """
    metre_eur, minute_factor = _rates(best)
    found = [
        *_wasting_less(STRONG, metre_eur, ON_TIME),
        *_stopping_less(STRONG_TIME, minute_factor, ON_TIME),
        *_on_time(best, ON_TIME),
        *_rather_late(problem),
        *_wasting_less(MILD, metre_eur, AS_LATE),
        *_stopping_less(MILD_TIME, minute_factor, AS_LATE),
        *_on_time(best, RATHER_ON_TIME),
        Weights(),
    ]
    return tuple(direction for direction in dict.fromkeys(found) if direction != weights)


def _rates(best: Sequence) -> tuple[Fraction, Fraction]:
    """Price of a metre at which the waste weighs as much as the minutes, but no less than it costs; and the
    same of the minutes, as a factor. 0 where there is nothing to save, or no price to steer by.
    """
    cost, waste_um = best.cost, objectives_of(best).waste_um
    stopped_eur = cost.changeover_eur + cost.waiting_eur
    metre_eur = max(stopped_eur, cost.waste_eur) * 1_000_000 / waste_um if waste_um else Fraction(0)
    minute_factor = max(Fraction(1), cost.waste_eur / stopped_eur) if stopped_eur else Fraction(0)
    return metre_eur, minute_factor


def _wasting_less(strength: int, metre_eur: Fraction, late: Fraction) -> Iterator[Weights]:
    if metre_eur:
        yield Weights(waste_eur_per_m=strength * metre_eur, late=late)


def _stopping_less(strength: int, minute_factor: Fraction, late: Fraction) -> Iterator[Weights]:
    if minute_factor:
        yield Weights(changeover=strength * minute_factor, late=late)


def _on_time(best: Sequence, late: Fraction) -> Iterator[Weights]:
    if best.cost.late_eur:
        yield Weights(late=late)


def _rather_late(problem: Problem) -> Iterator[Weights]:
    if any(job.due_ms is not None and (job.late_eur or job.late_eur_per_h) for job in problem.jobs):
        yield Weights(late=RATHER_LATE)
