"""The sequence in force: the one that people, plates and stock were made ready for.

A plan made while it is in force may move its runs, which costs (`Plant.moved_run_eur`). What decides is the
job directly before: a run that keeps it keeps its changeover and what was laid out for that, whatever hour it
begins at.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

from solver.checks import Checks
from solver.sequence import MOST_LOTS, Lot

Followed = dict[tuple[int, str], frozenset[str | None]]
"""By line and job: the jobs directly behind which its runs there stand; None is for the first of a line."""


@dataclass(frozen=True, slots=True)
class RunInForce:
    """A job, or a lot of it, as the sequence in force has it.

    `stations` are an index into the line's stations for every layer in laying order, then the die station's;
    None where nobody noted them.
    """

    job: str
    stations: tuple[int, ...] | None = None
    lot: Lot | None = None


@dataclass(frozen=True, slots=True)
class InForce:
    """Runs in order, for every line of the plant in the plant's order.

    It may hold jobs that are no longer in the queue.

    Raises
    ------
    ValueError
        With every job that is there twice, other than in lots, or in more lots than there may be.
    """

    lines: tuple[tuple[RunInForce, ...], ...]

    def __post_init__(self) -> None:
        checks = Checks("sequence in force")
        lots: dict[str, list[Lot | None]] = {}
        for run in (run for runs in self.lines for run in runs):
            lots.setdefault(run.job, []).append(run.lot)
        for job, of_job in lots.items():
            checks.that(len(of_job) == 1 or None not in of_job, f"job {job} is there {len(of_job)} times")
            checks.that(len(of_job) <= MOST_LOTS, f"job {job} is there in more than {MOST_LOTS} lots")
        checks.done()

    @property
    def jobs(self) -> frozenset[str]:
        return frozenset(run.job for runs in self.lines for run in runs)

    def followed(self, queue: Container[str]) -> Followed:
        """Behind which jobs its runs stand; jobs that are not in the queue are left out beforehand."""
        found: dict[tuple[int, str], set[str | None]] = {}
        for line_idx, runs in enumerate(self.lines):
            before: str | None = None
            for run in runs:
                if run.job in queue:
                    found.setdefault((line_idx, run.job), set()).add(before)
                    before = run.job
        return {place: frozenset(jobs) for place, jobs in found.items()}
