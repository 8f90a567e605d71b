"""What the jobs that are left cost at least, for every set of jobs done and the last of them.

Dynamic programming over sets (Held and Karp, Journal of SIAM 10, 1962), twice. First forwards: the earliest
time at which a set can be done with a certain job last. Then backwards: what is left of the cost, where every
job counts as late as if the jobs before it had been done as early as any order does them. Both times the
order may be another one, so no order of the jobs left undercuts it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solver.search.kernels.tables import Floats, Ints

MOST_JOBS = 16
"""The tables of so many jobs have a million entries."""


@dataclass(frozen=True)
class LeastRuns:
    """What jobs in a row take and cost at least.

    Parameters
    ----------
    cost, time
        Money and time of the set-up of the column's job right after the row's; the last row is for the first
        job. n + 1 rows, n columns, at least 0.
    process, ready, due
        Time of every job without set-up, before when its set-up does not begin, and when it is due.
    late_per_unit, late_once
        Money for every unit of time that a job ends after it is due, and once where it does; at least 0.
    begin
        When the first set-up begins at the earliest.
    """

    cost: Floats
    time: Floats
    process: Floats
    ready: Floats
    due: Floats
    late_per_unit: Floats
    late_once: Floats
    begin: float

    @property
    def jobs(self) -> int:
        return len(self.process)

    def late(self, job: int, end: Floats) -> Floats:
        """Late costs of a job that ends at these times."""
        late = np.maximum(end - self.due[job], 0.0)
        late_cost: Floats = late * self.late_per_unit[job] + (late > 0) * self.late_once[job]
        return late_cost


class RestCosts:
    """Least costs of what is left.

    Attributes
    ----------
    after
        (sets, last job) what all jobs outside the set cost at least behind it; sets as bits. The column
        behind the last job is for none done.
    setups_after
        The same without being late.
    """

    def __init__(self, runs: LeastRuns) -> None:
        if runs.jobs > MOST_JOBS:
            raise ValueError(f"at most {MOST_JOBS} jobs have such a table, not {runs.jobs}")
        self._runs = runs
        self._sets_of = _sets_by_size(runs.jobs)
        ends = self._earliest_ends()
        self.after = self._backwards(ends)
        self.setups_after = self._backwards(None)

    @property
    def least(self) -> float:
        """What all jobs cost at least."""
        return float(self.after[0, self._runs.jobs])

    def _earliest_ends(self) -> Floats:
        """(sets, last job) the earliest end of a set with this job last."""
        runs = self._runs
        ends = np.full((1 << runs.jobs, runs.jobs + 1), np.inf)
        ends[0, runs.jobs] = runs.begin
        for sets in self._sets_of[:-1]:
            for job in range(runs.jobs):
                without = sets[sets >> job & 1 == 0]
                begun = np.maximum(ends[without], runs.ready[job]) + runs.time[:, job]
                ends[without | 1 << job, job] = begun.min(axis=1) + runs.process[job]
        return ends

    def _backwards(self, ends: Floats | None) -> Floats:
        """(sets, last job) least costs of the rest; None for jobs that are never late."""
        runs = self._runs
        after = np.full((1 << runs.jobs, runs.jobs + 1), np.inf)
        after[-1] = 0.0
        for sets in reversed(self._sets_of[:-1]):
            for job in range(runs.jobs):
                without = sets[sets >> job & 1 == 0]
                behind = after[without | 1 << job, job]
                if ends is not None:
                    behind = behind + runs.late(job, ends[without | 1 << job, job])
                after[without] = np.minimum(after[without], behind[:, None] + runs.cost[:, job])
        return after


def least_after(runs: LeastRuns, rest: RestCosts, done: Ints, last: Ints, end: Floats) -> Floats:
    """What is left costs at least, behind sets with these last jobs that are done at these times, where every
    job left follows at once by the shortest set-up there is.
    """
    least: Floats = rest.setups_after[done, last]
    soonest = runs.time.min(axis=0) + runs.process
    for job in range(runs.jobs):
        ends = np.maximum(end, runs.ready[job]) + soonest[job]
        least = least + (done >> job & 1 == 0) * runs.late(job, ends)
    return least


def _sets_by_size(jobs: int) -> list[Ints]:
    """All sets of so many jobs as bits, by how many are in them."""
    sets = np.arange(1 << jobs)
    sizes = np.zeros(len(sets), np.int64)
    for job in range(jobs):
        sizes += sets >> job & 1
    return [sets[sizes == size] for size in range(jobs + 1)]
