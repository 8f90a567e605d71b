"""Locks: what people have fixed about the order."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Started:
    """The job is already running: first on its line, with the times it really has.

    `stations` are the station ids of its layers and die, in that order; None for the first feasible.
    """

    job: str
    line: str
    changeover_start_ms: int
    print_start_ms: int
    end_ms: int
    stations: tuple[str, ...] | None = None

    def __str__(self) -> str:
        return f"{self.job} has started on {self.line}"


@dataclass(frozen=True, slots=True)
class FixedStart:
    """The job's changeover starts at this instant."""

    job: str
    start_ms: int

    def __str__(self) -> str:
        return f"{self.job} starts at {self.start_ms} ms"


@dataclass(frozen=True, slots=True)
class OnLine:
    """The job runs on this line."""

    job: str
    line: str

    def __str__(self) -> str:
        return f"{self.job} runs on {self.line}"


@dataclass(frozen=True, slots=True)
class AtPosition:
    """The job is n-th on its line, counted from 1 after a started run; 1 is first in order."""

    job: str
    position: int

    def __str__(self) -> str:
        return f"{self.job} is number {self.position} on its line"


@dataclass(frozen=True, slots=True)
class Together:
    """The jobs run next to each other on one line, in any order."""

    jobs: tuple[str, ...]

    def __str__(self) -> str:
        return f"{', '.join(self.jobs)} stay together"


@dataclass(frozen=True, slots=True)
class Before:
    """The first job's run ends before the second one's changeover starts, on any lines.

    Of split jobs: the last run of the first, the first changeover of the second.
    """

    job: str
    then: str

    def __str__(self) -> str:
        return f"{self.job} ends before {self.then} starts"


Lock = Started | FixedStart | OnLine | AtPosition | Together | Before
