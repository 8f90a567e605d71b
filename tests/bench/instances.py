"""Instances of sequencing by plain numbers, and what an order of one costs, in plain Python."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

Matrix = tuple[tuple[int, ...], ...]
Order = tuple[int, ...]


class NotAnOrderError(ValueError):
    """What was handed back does not hold every job once."""


@dataclass(frozen=True)
class Instance:
    """Jobs to be put in an order.

    Without due times the value of an order is the sum of its set-ups: of the closed tour, or of the open
    path with the first job's set-up. With due times it is Σ weight · max(0, completion − due), where a
    job is complete after all set-ups and processing up to its own.

    Parameters
    ----------
    setup
        `setup[i][j]` of job j directly after job i; the diagonal does not matter.
    initial
        Set-up of the first job of an open path; empty: 0 for every job.
    process, due, weight
        One number a job; empty where set-ups alone count.
    closed
        Whether the order returns to its first job.
    optimum
        The value proved to be least, where it is known.
    best_known
        The least value that was ever seen, where the optimum is not known.
    bound
        What every order is proved to cost at least, where that was computed.
    """

    name: str
    setup: Matrix
    initial: tuple[int, ...] = ()
    process: tuple[int, ...] = ()
    due: tuple[int, ...] = ()
    weight: tuple[int, ...] = ()
    closed: bool = False
    optimum: int | None = None
    best_known: int | None = None
    bound: int | None = None

    def __post_init__(self) -> None:
        jobs = len(self.setup)
        if any(len(row) != jobs for row in self.setup):
            raise ValueError(f"{self.name}: the set-ups must be a square of {jobs} rows and columns")
        for numbers in (self.initial, self.process, self.due, self.weight):
            if len(numbers) not in (0, jobs):
                raise ValueError(f"{self.name}: {len(numbers)} numbers for {jobs} jobs")
        if not len(self.process) == len(self.due) == len(self.weight):
            raise ValueError(f"{self.name}: process, due and weight go together")
        if self.closed and (self.due or self.initial):
            raise ValueError(f"{self.name}: a closed tour has neither due times nor a first set-up")

    @property
    def jobs(self) -> int:
        """How many jobs there are."""
        return len(self.setup)

    @property
    def first(self) -> tuple[int, ...]:
        """Set-up of every job as the first of an open path."""
        return self.initial or (0,) * self.jobs


def value_of(instance: Instance, order: Sequence[int]) -> int:
    """What an order costs, counted job by job.

    Raises
    ------
    NotAnOrderError
        Where the order is not a permutation of the jobs.
    """
    if sorted(order) != list(range(instance.jobs)):
        raise NotAnOrderError(f"{instance.name}: not every job once: {list(order)}")
    setups = tuple(_setups(instance, order))
    if not instance.due:
        return sum(setups)
    late, now = 0, 0
    for setup, job_idx in zip(setups, order, strict=True):
        now += setup + instance.process[job_idx]
        late += instance.weight[job_idx] * max(0, now - instance.due[job_idx])
    return late


def _setups(instance: Instance, order: Sequence[int]) -> Iterator[int]:
    """Set-ups in order, one a job: the first job's is the way back of a closed tour."""
    yield instance.setup[order[-1]][order[0]] if instance.closed else instance.first[order[0]]
    for before, job_idx in pairwise(order):
        yield instance.setup[before][job_idx]
