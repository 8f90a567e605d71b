"""What a schedule is made of while it grows: lines after some runs, runs placed, runs that cannot be."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from solver.copies import Copies, Fetch
from solver.run_plan import Place, RunPlan
from solver.sequence import Changeover, Interruption, Stock


class LineState(NamedTuple):
    """A line after some of its runs. `holding` has a number of `Setups` for every station.

    A named tuple, as `Event` is: millions are made, and they are the quickest to make.
    """

    holding: tuple[int, ...]
    before: RunPlan | None
    print_start_ms: int
    end_ms: int
    clean: bool


class Event(NamedTuple):
    """One run placed in time. `changeover` is None for a run that had started before the plan.

    `drawn` is what it takes from stocks whose amount is followed; `eur` its weighed cost with the
    waiting before it.
    """

    plan: RunPlan
    changeover: Changeover | None
    wait_ms: int
    start_ms: int
    print_start_ms: int
    end_ms: int
    run_ms: int
    interruptions: tuple[Interruption, ...]
    holding: tuple[int, ...]
    fetched: tuple[Fetch, ...]
    removed: tuple[tuple[str, Place], ...]
    drawn: tuple[tuple[Stock, int], ...]
    eur: float


@dataclass(frozen=True, slots=True, eq=False)
class Dropped:
    """A run that can never start, and why."""

    plan: RunPlan
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Deadlock:
    """A run that must not start before a later one on its own way has ended."""

    plan: RunPlan


@dataclass(slots=True, eq=False)
class State:
    """All lines after some runs: what a further run depends on.

    `dropped` are runs that can never start, `unbound` jobs that wait for no other since the order
    makes that impossible. `priced` tells whether events have their cost as they are placed.
    """

    lines: list[LineState]
    copies: Copies
    drawn: dict[Stock, int]
    next_idx: list[int]
    events: list[Event]
    dropped: tuple[Dropped, ...] = ()
    unbound: frozenset[int] = frozenset()
    first_start_ms: int | None = None
    eur: float = 0.0
    pending: list[Event | Dropped | None] = field(default_factory=list)
    priced: bool = True

    def snapshot(self) -> State:
        """A copy that further runs do not change."""
        return State(
            lines=list(self.lines),
            copies=self.copies,
            drawn=dict(self.drawn),
            next_idx=list(self.next_idx),
            events=list(self.events),
            dropped=self.dropped,
            unbound=self.unbound,
            first_start_ms=self.first_start_ms,
            eur=self.eur,
            pending=list(self.pending),
            priced=self.priced,
        )
