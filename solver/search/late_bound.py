"""What the lateness of a queue costs at least: the open time of all lines, and stock as it arrives, do not
suffice for all jobs to be on time.

A linear programme lays every job in shares on lines and into spans of time. A line does no more in a span
than it is open; what of a job is done before a delivery needs that share of its stock, of what was there till
then; and no more whole jobs are begun before it than the smallest that what was there suffices for. A share
costs what the job would cost if it ended as early as it can, or where the span begins, whichever is later: no
share is done after its job ends, so all shares together cost no more than the job does (the bound by
assignment of Gelders and Kleindorfer, Operations Research 22, 1974, with shares of any size).

It is priced: whatever prices of constraints the linear solver gives, every job's cheapest share, less what
the constraints leave, is a bound.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from solver.search.compile import CompiledPlant
from solver.search.kernels.tables import END, NEVER_MS, Floats, Ints, Rows
from solver.search.line_bound import LineLeast

STEP_MS = 2 * 3_600_000
"""Longest span that shares are laid into."""
ENOUGH = 1.5
"""Spans go on until all lines have been open for so many times what the jobs take them."""
MOST_SPANS = 120
MOST_SHARES = 40_000
"""Larger programmes are not solved: that could take long."""
UNIT_MS, UNIT_UM = 3_600_000.0, 1e9
"""Numbers near 1 are what the linear solver is good at."""


@dataclass(frozen=True, slots=True)
class _Places:
    """Where jobs can run, one row for a job on a line.

    `jobs` are numbered from 0 without gaps; `late_eur` is what the lateness of the job by itself costs there.
    """

    jobs: Ints
    lines: Ints
    splits: Ints
    time_ms: Floats
    need_um: Floats
    late_eur: Floats
    plans: Rows

    @classmethod
    def of(cls, compiled: CompiledPlant, leasts: Sequence[LineLeast]) -> _Places:
        numbers = np.concatenate([least.jobs for least in leasts])
        return cls(
            jobs=np.unique(numbers, return_inverse=True)[1],
            lines=np.repeat(np.arange(len(leasts)), [len(least.jobs) for least in leasts]),
            splits=np.concatenate([least.splits for least in leasts]).astype(np.int64),
            time_ms=np.concatenate([least.time_ms for least in leasts]),
            need_um=np.concatenate([least.need_um for least in leasts]),
            late_eur=np.concatenate([least.late_eur for least in leasts]),
            plans=np.concatenate(
                [
                    line.tables.plans[line.job_plans[least.jobs, 0]]
                    for line, least in zip(compiled.lines, leasts, strict=True)
                ]
            ),
        )

    @property
    def job_count(self) -> int:
        return int(self.jobs.max(initial=-1)) + 1

    def least_of_jobs(self, of_places: Floats) -> Floats:
        """(jobs,) the least over a job's places."""
        least = np.full(self.job_count, np.inf)
        np.minimum.at(least, self.jobs, of_places)
        return least


class _Limit(NamedTuple):
    """Of some shares, weighed, there is no more than so much."""

    most: float
    shares: Ints
    weights: Floats


def least_late_eur(compiled: CompiledPlant, leasts: Sequence[LineLeast]) -> float:
    """What lateness costs at least in any order of all jobs, weighed; `leasts` are those of all lines."""
    places = _Places.of(compiled, leasts)
    by_itself_eur = float(places.least_of_jobs(places.late_eur).sum())
    is_due = places.plans["due_ms"] < NEVER_MS
    if not (is_due & (places.plans["late_once_eur"] + places.plans["late_ms_eur"] > 0)).any():
        return by_itself_eur
    spans = _Spans(compiled, places)
    if len(spans.begins_ms) > MOST_SPANS or len(places.jobs) * len(spans.begins_ms) > MOST_SHARES:
        return by_itself_eur
    return max(by_itself_eur, _Programme(compiled, places, spans).bound())


class _Spans:
    """Time cut where jobs are due or get ready and stock arrives; the last span has no end.

    Attributes
    ----------
    begins_ms, ends_ms
        (spans,)
    open_ms
        (lines, spans) how long lines are open in each; the last is endless.
    """

    def __init__(self, compiled: CompiledPlant, places: _Places) -> None:
        self._compiled = compiled
        cuts = {int(at) for name in ("due_ms", "ready_ms") for at in places.plans[name] if at < NEVER_MS}
        cuts |= {each.at_ms for stocked in compiled.stocks.values() for each in stocked.deliveries}
        last_ms = max(cuts, default=0)
        needed_ms = ENOUGH * float(places.least_of_jobs(places.time_ms).sum())
        while len(cuts) < MOST_SPANS and self._open_ms(0, last_ms).sum() < needed_ms:
            last_ms += STEP_MS
        cuts |= set(range(0, last_ms + STEP_MS, STEP_MS))
        begins_ms = sorted(at for at in cuts if at >= 0)
        kept = [
            (begin_ms, end_ms, open_ms)
            for begin_ms, end_ms in pairwise(begins_ms)
            if (open_ms := self._open_ms(begin_ms, end_ms)).any()
        ]
        self.begins_ms = np.array([begin_ms for begin_ms, _, _ in kept] + [begins_ms[-1]], np.float64)
        self.ends_ms = np.array([end_ms for _, end_ms, _ in kept] + [NEVER_MS], np.float64)
        endless = np.full(len(compiled.lines), np.inf)
        self.open_ms = np.array([*(open_ms for _, _, open_ms in kept), endless]).T

    def _open_ms(self, begin_ms: int, end_ms: int) -> Floats:
        """(lines,) how long lines are open between two instants, and free."""
        return np.array(
            [
                float(line.line.calendar.open_between(max(begin_ms, int(line.state[END])), end_ms))
                for line in self._compiled.lines
            ]
        )


class _Programme:
    """Shares of jobs on lines in spans: (places, spans) laid flat where there can be any."""

    def __init__(self, compiled: CompiledPlant, places: _Places, spans: _Spans) -> None:
        self._compiled = compiled
        self._places, self._spans = places, spans
        may = (spans.open_ms[places.lines] > 0) & (spans.ends_ms > places.plans["ready_ms"][:, None])
        self._place, self._span = np.nonzero(may)
        rows = places.plans[self._place]
        begins_ms = np.maximum(spans.begins_ms[self._span], rows["ready_ms"])
        late_ms = np.where(rows["due_ms"] < NEVER_MS, begins_ms - rows["due_ms"], -1.0)
        late_eur = np.where(late_ms >= 0, rows["late_once_eur"] + rows["late_ms_eur"] * late_ms, 0.0)
        self._eur = np.maximum(late_eur, places.late_eur[self._place])
        self.limits = [*self._times(), *self._stocks()]

    def bound(self) -> float:
        """The bound; 0 where the linear solver does not come to an end."""
        prices = self.prices()
        priced_eur, left_eur = self._eur.copy(), 0.0
        for limit, price in zip(self.limits, prices, strict=True):
            np.add.at(priced_eur, limit.shares, limit.weights * price)
            left_eur += limit.most * price
        least = np.full(self._places.job_count, np.inf)
        np.minimum.at(least, self._places.jobs[self._place], priced_eur)
        return float(least.sum() - left_eur)

    def prices(self) -> list[float]:
        # Imported here, as `bounding` does: it is slow to import.
        from ortools.linear_solver import pywraplp  # type: ignore[import-untyped]

        solver: Any = pywraplp.Solver.CreateSolver("GLOP")
        objective = solver.Objective()
        objective.SetMinimization()
        whole = [solver.Constraint(1.0, 1.0) for _ in range(self._places.job_count)]
        uses = [solver.NumVar(0.0, solver.infinity(), "") for _ in range(len(self._eur))]
        for use, eur, job in zip(uses, self._eur, self._places.jobs[self._place], strict=True):
            objective.SetCoefficient(use, float(eur))
            whole[job].SetCoefficient(use, 1.0)
        rows: list[Any] = []
        for limit in self.limits:
            row = solver.Constraint(-solver.infinity(), limit.most)
            for share, weight in zip(limit.shares, limit.weights, strict=True):
                row.SetCoefficient(uses[share], float(weight))
            rows.append(row)
        if solver.Solve() != pywraplp.Solver.OPTIMAL:
            return [0.0] * len(rows)
        return [max(0.0, -row.dual_value()) for row in rows]

    def _times(self) -> Iterator[_Limit]:
        """No line does more in a span than it is open."""
        lines, spans = self._spans.open_ms.shape
        share_lines = self._places.lines[self._place]
        for line_idx in range(lines):
            for span in range(spans):
                most_ms = self._spans.open_ms[line_idx, span]
                shares = np.flatnonzero((share_lines == line_idx) & (self._span == span))
                if len(shares) and np.isfinite(most_ms):
                    time_ms = self._places.time_ms[self._place[shares]]
                    yield _Limit(float(most_ms) / UNIT_MS, shares, time_ms / UNIT_MS)

    def _stocks(self) -> Iterator[_Limit]:
        """What is done before a delivery needs no more stock than there was."""
        places = self._places
        of_stock = places.plans["stock"]
        for number, stocked in enumerate(self._compiled.stocks.values()):
            for delivery in stocked.deliveries:
                there_um = float(stocked.on_hand_um or 0)
                there_um += sum(each.length_um for each in stocked.deliveries if each.at_ms < delivery.at_ms)
                shares = np.flatnonzero(
                    (of_stock[self._place] == number) & (self._spans.ends_ms[self._span] <= delivery.at_ms)
                )
                if not len(shares):
                    continue
                need_um = places.need_um[self._place[shares]]
                yield _Limit(there_um / UNIT_UM, shares, need_um / UNIT_UM)
                if not places.splits[of_stock == number].any():
                    yield _Limit(self._most_begun(number, there_um), shares, np.ones(len(shares)))

    def _most_begun(self, stock: int, there_um: float) -> float:
        """How many jobs on a stock can be begun with so much of it: the smallest ones."""
        places = self._places
        need_um = np.where(places.plans["stock"] == stock, places.need_um, np.inf)
        smallest_um = np.sort(places.least_of_jobs(need_um))
        return float(np.searchsorted(np.cumsum(smallest_um), there_um, side="right"))
