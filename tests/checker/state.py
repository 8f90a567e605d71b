"""How lines stand while a sequence is played again, and what waits for its turn."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field

from solver.jobs import Job
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Placement, Stock
from solver.weights import Weights
from tests.checker.expected import ExpectedRun
from tests.checker.lots import Key
from tests.checker.quantities import used_stations
from tests.checker.tooling import Floor, Needs, ToolSource, has_aspect, present_floor


@dataclass
class LineState:
    """How a line stands after its last run, apart from its tooling; channels awake by inkjet."""

    line: Line
    line_idx: int
    free_ms: int
    awake: dict[int, frozenset[str]]
    unwind: Stock | None
    thrown_off: frozenset[str]
    last: ExpectedRun | None = None


@dataclass(frozen=True)
class Next:
    """A run that waits for its turn: what it needs, and where its tools come from."""

    state: LineState
    job: Job
    placement: Placement
    stock: Stock
    needs: Needs
    sources: tuple[ToolSource, ...]

    @property
    def line(self) -> Line:
        return self.state.line

    @property
    def used(self) -> tuple[int, ...]:
        return used_stations(self.line, self.placement.stations)


@dataclass
class Replay:
    """The plant while its sequence is played again.

    `runs` holds every run worked out, in the order of starting; `never` the placed jobs that could
    never start.
    """

    problem: Problem
    weights: Weights
    broken_locks: Collection[str]
    floor: Floor
    states: list[LineState]
    taken: Counter[Stock] = field(default_factory=Counter)
    runs: dict[Key, ExpectedRun] = field(default_factory=dict)
    never: list[str] = field(default_factory=list)


def present_line(line: Line, line_idx: int) -> LineState:
    """A line at the plan's start."""
    present = line.present
    unwind = None
    if present.substrate is not None and present.width_um is not None:
        unwind = Stock(present.substrate, present.width_um)
    awake = {k: present.awake for k, station in enumerate(line.stations) if has_aspect(station, "channels")}
    return LineState(line, line_idx, present.free_at_ms, awake, unwind, present.thrown_off)


def present_plant(problem: Problem, weights: Weights, broken_locks: Collection[str]) -> Replay:
    """The plant at the plan's start; broken locks are not waited for."""
    return Replay(
        problem=problem,
        weights=weights,
        broken_locks=broken_locks,
        floor=present_floor(problem),
        states=[present_line(line, line_idx) for line_idx, line in enumerate(problem.plant.lines)],
    )
