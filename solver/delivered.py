"""Labels delivered of every version: what was ordered, what is made, and where the difference comes from."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from solver.jobs import Job, Version
from solver.layout import labels_with_overs, version_target, wanted_labels
from solver.problem import Problem
from solver.sequence import Sequence, VersionRun


@dataclass(frozen=True, slots=True)
class DeliveredVersion:
    """Labels of a version, all lots of its job together. Without what is left out,

        made = quantity + overs_asked + overs_full_reels + overs_whole_repeats

    Parameters
    ----------
    quantity
        Ordered; what is delivered is never below it.
    most
        The most that may be sent; None where nobody has said.
    target
        Wanted with overs and full reels, held to the most.
    made
        What whole repeats give.
    overs_asked, overs_full_reels, overs_whole_repeats
        Labels beyond the quantity: those asked for, what full reels in every lane add, what whole repeats do.
    held_back
        Labels that overs or full reels would have added beyond the most.
    left_out
        Labels of the target in lots that are not in the sequence; `made` is without them.
    """

    job: str
    version: str
    quantity: int
    most: int | None
    target: int
    made: int
    overs_asked: int
    overs_full_reels: int
    overs_whole_repeats: int
    held_back: int
    left_out: int

    @property
    def delivered(self) -> int:
        """What is made, without what goes beyond the most that may be sent."""
        return self.made if self.most is None else min(self.made, self.most)

    @property
    def beyond_most(self) -> int:
        """Labels of the last repeat that may not be sent."""
        return self.made - self.delivered

    @property
    def is_short(self) -> bool:
        """Whether it is below its quantity; only where lots are left out."""
        return self.delivered < self.quantity


def delivered_versions(problem: Problem, sequence: Sequence) -> tuple[DeliveredVersion, ...]:
    """The versions of every job of which something runs, in the queue's order."""
    runs: defaultdict[int, dict[str, list[VersionRun]]] = defaultdict(lambda: defaultdict(list))
    for run in sequence.runs:
        for made in run.versions:
            runs[run.job_idx][made.version].append(made)
    return tuple(
        _delivered(problem, problem.jobs[job_idx], version, by_version.get(version.id, []))
        for job_idx, by_version in sorted(runs.items())
        for version in problem.jobs[job_idx].versions
    )


def _delivered(problem: Problem, job: Job, version: Version, parts: list[VersionRun]) -> DeliveredVersion:
    die = problem.dies[job.die]
    target, _ = version_target(job, version, die)
    wanted = wanted_labels(job, version, die)
    with_overs = min(labels_with_overs(version), target)
    made = sum(part.labels for part in parts)
    placed = sum(part.target for part in parts)
    return DeliveredVersion(
        job=job.id,
        version=version.id,
        quantity=version.quantity,
        most=version.max_quantity,
        target=target,
        made=made,
        overs_asked=with_overs - version.quantity,
        overs_full_reels=target - with_overs,
        overs_whole_repeats=made - placed,
        held_back=wanted - target,
        left_out=target - placed,
    )
