"""What orders of a plant cost at least.

An order is a round trip: the gap before the first line's runs, those runs, the gap before the second line's,
and so on. From job to job it costs the least of all lines that run both, with what the run behind costs
there; from a gap what that line's first changeover costs; from gap to gap nothing, for lines may stay empty.
That lines wait for each other, for stock, for tools and for work, and what closures interrupt, only adds.

A job that may be split is passed more than once. Where each is passed at least once, and the ways between
them are the shortest ones through jobs that may be split, what is left of every order by its first passes is
a round trip again.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from solver.feasibility import station_choices
from solver.search.bounding import LeastCosts
from solver.search.compile import MOST_CHOICES, CompiledPlant
from solver.search.kernels.tables import Floats, Ints
from solver.search.late_bound import least_late_eur
from solver.search.line_bound import LineLeast, line_least

FAR = 4.0
"""From a job to one that no line runs behind it: so many times the dearest way there is."""


def least_costs(compiled: CompiledPlant) -> LeastCosts | None:
    """What orders of all jobs cost at least; the last places are the gaps before the lines' first jobs. None
    where there are more choices of stations than are looked at, or too many.
    """
    if _passes_over_choices(compiled):
        return None
    leasts: list[LineLeast] = []
    for line in compiled.lines:
        least = line_least(line)
        if least is None:
            return None
        leasts.append(least)
    jobs = np.unique(np.concatenate([least.jobs for least in leasts]))
    run_eur = _least_of_lines(leasts, jobs, [least.run_eur for least in leasts])
    splits = np.isin(jobs, np.concatenate([least.jobs[least.splits] for least in leasts]))
    lengths = _shortened(_lengths(leasts, jobs, np.where(splits, 0.0, run_eur)), np.flatnonzero(splits))
    started_eur = sum(line.eur for line in compiled.lines)
    return LeastCosts(float(started_eur + run_eur.sum()) + least_late_eur(compiled, leasts), lengths)


def _passes_over_choices(compiled: CompiledPlant) -> bool:
    """Whether some job can be seated in more ways than are looked at: it may cost less there."""
    for line in compiled.lines:
        looked_at = line.job_plans[:, 1] - line.job_plans[:, 0]
        # Of more than `MOST_CHOICES` at most every second is looked at, so at least half as many.
        for job_idx in np.flatnonzero(looked_at > MOST_CHOICES // 2 - 1):
            if len(station_choices(compiled.problem, line.line_idx, int(job_idx))) > looked_at[job_idx]:
                return True
    return False


def _least_of_lines(leasts: Sequence[LineLeast], jobs: Ints, costs: Sequence[Floats]) -> Floats:
    """(jobs,) the least of each over the lines that run it."""
    found = np.full(len(jobs), np.inf)
    for least, of_line in zip(leasts, costs, strict=True):
        at = np.searchsorted(jobs, least.jobs)
        found[at] = np.minimum(found[at], of_line)
    return found


def _lengths(leasts: Sequence[LineLeast], jobs: Ints, known_eur: Floats) -> Floats:
    """(places, places) ways from place to place, less what is known of each run's cost."""
    count, places = len(jobs), len(jobs) + len(leasts)
    lengths = np.full((places, places), np.inf)
    lengths[count:, count:] = 0.0
    for gap, least in enumerate(leasts, start=count):
        at = np.searchsorted(jobs, least.jobs)
        between = np.ix_(at, at)
        lengths[between] = np.minimum(lengths[between], least.between_eur - known_eur[at])
        lengths[gap, at] = least.first_eur - known_eur[at]
        lengths[at, count:] = np.minimum(lengths[at, count:], least.behind_eur[:, None])
    np.fill_diagonal(lengths, 0.0)
    # Differences of sums may be off by rounding.
    positive: Floats = np.maximum(lengths, 0.0)
    return positive


def _shortened(lengths: Floats, through: Ints) -> Floats:
    """Shortest ways, which may lead through some places (Floyd, Communications of the ACM 5, 1962); where
    there is none, one that is far.
    """
    for place in through:
        lengths = np.minimum(lengths, lengths[:, place : place + 1] + lengths[place : place + 1, :])
    finite = lengths[np.isfinite(lengths)]
    return np.where(np.isfinite(lengths), lengths, FAR * max(1.0, float(finite.max(initial=0.0))))
