"""Short queues of one line that keeps tooling: an order that costs less than a given one, or proof of none.

Beginnings of orders are placed run by run, all of one length at a time, with every wait, closure and piece
of tooling kept. Of those that did the same jobs and leave the line as another one does, to the ms, the
dearer is given up; so is whatever would cost as much as the given order even if what is left cost the least
that it can. Of what is left these are certain: changeovers by `line_bound`, runs, and lateness of jobs of
which none runs before it is ready.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from solver.search.compile import CompiledLine
from solver.search.decode import Decoder
from solver.search.islands import Order
from solver.search.kernels.tables import DONE, END, NEVER_MS, Floats, Ints
from solver.search.line_bound import choices, least_changeovers
from solver.search.proving import NONE_CHEAPER, UNCERTAIN, Answer, Ended
from solver.search.rest_costs import MOST_JOBS, LeastRuns, RestCosts, least_after

PLACED_RUNS = 60_000
"""So many are placed in about a second."""


class _Beginning(NamedTuple):
    """Jobs placed as bits of their places in the queue, the last of them, the plans that run them, and the
    line behind them.
    """

    done: int
    last: int
    numbers: tuple[int, ...]
    state: Ints
    eur: float


class LineProver:
    """Proofs of a line's queue; of one that is too long, has locks or too many choices of stations it asks
    for no effort.
    """

    def __init__(self, compiled: CompiledLine) -> None:
        self.most_effort = 2.0 if _has_proofs(compiled) else 0.0
        self._ranges = [range(first, last) for first, last in compiled.job_plans.tolist() if last > first]
        self._compiled = compiled
        self._order = np.zeros(len(self._ranges), np.int64)

    @cached_property
    def _runs(self) -> LeastRuns:
        """Made for the first proof, as all that only proofs need."""
        return _least_runs(self._compiled)

    @cached_property
    def _rest(self) -> RestCosts:
        return RestCosts(self._runs)

    @cached_property
    def _decoder(self) -> Decoder:
        return Decoder(self._compiled)

    def least(self) -> float:
        return self._compiled.eur + self._rest.least

    def cheaper(self, undercut: float, order: Order, effort: float, ended: Ended) -> Answer:
        compiled, most = self._compiled, round(effort * PLACED_RUNS)
        begun = [_Beginning(0, self._runs.jobs, (), compiled.state, compiled.eur)]
        placed = 0
        for _ in self._ranges:
            following: list[_Beginning] = []
            for before in begun:
                if placed + len(following) > most or ended():
                    return UNCERTAIN
                following.extend(self._longer(before))
            placed += len(following)
            begun = self._worth_going_on(following, undercut)
        best = min(begun, key=lambda whole: (self._whole_eur(whole), whole.numbers), default=None)
        if best is None or self._whole_eur(best) >= undercut:
            return NONE_CHEAPER
        return Answer(compiled.plant.numbered([best.numbers]), True, self._whole_eur(best))

    def _longer(self, before: _Beginning) -> Iterator[_Beginning]:
        """Every job that is left behind a beginning, at each of its stations; but for those that would be
        left out.
        """
        for job, plans in enumerate(self._ranges):
            if before.done >> job & 1:
                continue
            for plan in plans:
                state, eur = self._placed(before, plan)
                if state is not None:
                    yield _Beginning(before.done | 1 << job, job, (*before.numbers, plan), state, eur)

    def _placed(self, before: _Beginning, plan: int) -> tuple[Ints | None, float]:
        at = len(before.numbers)
        self._order[at] = plan
        code, _, state, eur = self._decoder.place(before.state, before.eur, self._order[: at + 1], at)
        return (state if code == DONE else None), eur

    def _worth_going_on(self, begun: list[_Beginning], undercut: float) -> list[_Beginning]:
        """Those from which an order may cost less; of those that leave the line alike, the cheapest."""
        if not begun:
            return []
        done, last = (np.array([each[column] for each in begun], np.int64) for column in (0, 1))
        end_ms = np.array([float(each.state[END]) for each in begun])
        eur = np.array([each.eur for each in begun])
        least_eur = np.maximum(
            self._rest.after[done, last], least_after(self._runs, self._rest, done, last, end_ms)
        )
        cheapest: dict[tuple[int, bytes], _Beginning] = {}
        for at in np.flatnonzero(eur + least_eur < undercut):
            each = begun[at]
            key = each.done, each.state.tobytes()
            if key not in cheapest or each.eur < cheapest[key].eur:
                cheapest[key] = each
        return list(cheapest.values())

    def _whole_eur(self, whole: _Beginning) -> float:
        return whole.eur + self._decoder.clean_down_eur(whole.state)


def _has_proofs(compiled: CompiledLine) -> bool:
    """Whether a queue is short, no lock makes an order better than a cheaper one, and none is split."""
    jobs = int((compiled.job_plans[:, 1] > compiled.job_plans[:, 0]).sum())
    is_plain = not compiled.problem.locks and not compiled.plant.splittable
    return jobs <= MOST_JOBS and is_plain and choices(compiled) is not None


def _least_runs(compiled: CompiledLine) -> LeastRuns:
    """What runs and changeovers of every job take and cost at least, whichever its stations."""
    chosen = choices(compiled)
    if chosen is None:
        raise ValueError("there are too many choices of stations, or no two jobs")
    rows = compiled.tables.plans[chosen.plans]
    is_due = rows["due_ms"] < NEVER_MS

    def least(values: NDArray[Any]) -> Floats:
        return np.minimum.reduceat(values, chosen.starts).astype(np.float64)

    cost, time_ms = least_changeovers(compiled, chosen)
    return LeastRuns(
        # Every run's own cost goes with its set-up.
        cost=cost + least(rows["run_eur"]),
        time=time_ms,
        process=least(rows["work_ms"]),
        ready=least(rows["ready_ms"]),
        due=least(rows["due_ms"]),
        late_per_unit=least(np.where(is_due, rows["late_ms_eur"], 0.0)),
        late_once=least(np.where(is_due, rows["late_once_eur"], 0.0)),
        begin=float(compiled.state[END]),
    )
