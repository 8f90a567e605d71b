"""Short queues as matrices with due times: an order that costs less than a given one, or proof of none.

Beginnings of orders are grown job by job, all of one length at a time. Of those that did the same jobs with
the same one last, one that ends no earlier and costs no less than another is given up; so is whatever would
cost as much as the given order even if what is left cost the least that it can (`rest_costs`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from solver.search.islands import Order
from solver.search.kernels.tables import Floats, Ints
from solver.search.path_islands import PathCosts
from solver.search.proving import NONE_CHEAPER, UNCERTAIN, Answer, Ended
from solver.search.rest_costs import MOST_JOBS, LeastRuns, RestCosts, least_after

BEGINNINGS = 500_000
"""So many are grown in about a second."""


class PathProver:
    """Proofs of a queue as a matrix; of one with more than `MOST_JOBS` jobs it asks for no effort."""

    def __init__(self, costs: PathCosts) -> None:
        jobs = len(costs.process)
        self.most_effort = 2.0 if jobs <= MOST_JOBS else 0.0
        self._runs = LeastRuns(
            costs.cost,
            costs.time.astype(np.float64),
            costs.process.astype(np.float64),
            np.zeros(jobs),
            costs.due.astype(np.float64),
            costs.late_per_unit,
            costs.late_once,
            0.0,
        )

    @cached_property
    def _rest(self) -> RestCosts:
        """Made for the first proof."""
        return RestCosts(self._runs)

    def least(self) -> float:
        return self._rest.least

    def cheaper(self, undercut: float, order: Order, effort: float, ended: Ended) -> Answer:
        return cheaper_path(self._runs, self._rest, undercut, round(effort * BEGINNINGS), ended)


@dataclass(frozen=True, slots=True)
class Beginnings:
    """Beginnings of orders, side by side: the jobs done as bits, the last of them, when it ends, what they
    cost so far, and which of the beginnings one job shorter they go on from.
    """

    done: Ints
    last: Ints
    end: Floats
    cost: Floats
    source: Ints

    def __len__(self) -> int:
        return len(self.done)

    def only(self, kept: Ints) -> Beginnings:
        """Those at these places."""
        return Beginnings(
            self.done[kept], self.last[kept], self.end[kept], self.cost[kept], self.source[kept]
        )


def cheaper_path(runs: LeastRuns, rest: RestCosts, undercut: float, most: int, ended: Ended) -> Answer:
    """The cheapest order that costs less than `undercut`. It is not certain where more than `most` beginnings
    would have to be grown, or it was told to end. Jobs must be ready from the beginning on.
    """
    start = Beginnings(
        np.zeros(1, np.int64),
        np.full(1, runs.jobs, np.int64),
        np.full(1, runs.begin),
        np.zeros(1),
        np.zeros(1, np.int64),
    )
    grown = [start]
    total = 0
    for _ in range(runs.jobs):
        following = _longer(runs, rest, grown[-1], undercut, most - total, ended)
        if following is None:
            return UNCERTAIN
        total += len(following)
        if not len(following):
            return NONE_CHEAPER
        grown.append(following.only(_not_dominated(following)))
    return Answer(_order(grown), True, float(grown[-1].cost.min()))


def _longer(
    runs: LeastRuns, rest: RestCosts, before: Beginnings, undercut: float, most: int, ended: Ended
) -> Beginnings | None:
    """Every beginning with every job that is left behind it, as far as that may pay; None where these are
    more than `most`, or it was told to end.
    """
    found: list[Beginnings] = []
    for job in range(runs.jobs):
        if ended() or sum(map(len, found)) > most:
            return None
        source = np.flatnonzero(before.done >> job & 1 == 0)
        last = before.last[source]
        end = before.end[source] + runs.time[last, job] + runs.process[job]
        cost = before.cost[source] + runs.cost[last, job] + runs.late(job, end)
        done = before.done[source] | 1 << job
        pays = np.flatnonzero(cost + rest.after[done, job] < undercut)
        longer = Beginnings(done[pays], np.full(len(pays), job), end[pays], cost[pays], source[pays])
        least = least_after(runs, rest, longer.done, longer.last, longer.end)
        found.append(longer.only(np.flatnonzero(longer.cost + least < undercut)))
    columns = ("done", "last", "end", "cost", "source")
    return Beginnings(*(np.concatenate([getattr(each, name) for each in found]) for name in columns))


def _not_dominated(begun: Beginnings) -> Ints:
    """Those than which no other one with the same jobs and the same last is both as early and as cheap."""
    order = np.lexsort((begun.cost, begun.end, begun.last, begun.done))
    done, last = begun.done[order], begun.last[order]
    is_first = np.ones(len(order), np.bool_)
    is_first[1:] = (done[1:] != done[:-1]) | (last[1:] != last[:-1])
    # Costs by rank, those of every group below all of the group before: so one running minimum does for all.
    ranks = np.unique(begun.cost[order], return_inverse=True)[1].reshape(-1)
    lowered = ranks - np.cumsum(is_first) * (len(order) + 1)
    least_before = np.minimum.accumulate(lowered)
    kept = np.ones(len(order), np.bool_)
    kept[1:] = lowered[1:] < least_before[:-1]
    return order[kept]


def _order(grown: list[Beginnings]) -> Ints:
    """The jobs of the cheapest whole order."""
    at = int(np.argmin(grown[-1].cost))
    order: list[int] = []
    for begun in reversed(grown[1:]):
        order.append(int(begun.last[at]))
        at = int(begun.source[at])
    return np.array(order[::-1], np.int64)
