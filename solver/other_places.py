"""Other places for single runs, costed: every one in a small queue, the likeliest in a big one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from itertools import islice
from math import inf

from solver.costing import Costing, Outcome, state_before
from solver.feasibility import station_choices
from solver.locks import Started
from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.schedule import Scheduler
from solver.sequence import Order, Placement
from solver.timeline import Event, State

MOST_CHOICES_LOOKED_AT = 6
"""Station choices of a place that are looked at in a queue too big to try all."""
MOST_LOOKED_AT = 12_000
"""Places that are looked at in all: the run and the one behind it are placed there."""
BATCH = 256
"""Orders asked for at once."""

RunAt = tuple[int, int]
"""Where a run stands in an order: line and position, from 0."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place in an order for a run that has been taken out: a position from 0, and its stations."""

    line_idx: int
    position: int
    stations: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Tried:
    """A run at another place, and what the order then comes to."""

    run: RunAt
    place: Place
    outcome: Outcome

    @property
    def end_ms(self) -> int | None:
        """When the moved run ends."""
        return self.outcome.ends_ms[self.place.line_idx][self.place.position]


class Extent(StrEnum):
    """Which places were costed."""

    ALL = "every place at all stations"
    BEST_STATIONS = "every place, at the stations that look best there"
    NEAREST = "the places that look cheapest"


@dataclass(frozen=True, slots=True)
class TriedPlaces:
    """Runs at other places.

    Parameters
    ----------
    by_run
        What was tried, for every run that may be moved.
    extent
        Which places were costed.
    most_places
        Places of a run that were costed at most.
    """

    by_run: dict[RunAt, tuple[Tried, ...]]
    extent: Extent
    most_places: int

    def __iter__(self) -> Iterator[Tried]:
        for tried in self.by_run.values():
            yield from tried


def moved(order: Order, run: RunAt, place: Place) -> Order:
    """The order with a run at another place."""
    line_idx, position = run
    lines = [list(placements) for placements in order]
    placement = lines[line_idx].pop(position)
    lines[place.line_idx].insert(place.position, replace(placement, stations=place.stations))
    return tuple(map(tuple, lines))


def try_places(scheduler: Scheduler, order: Order, costing: Costing) -> TriedPlaces:
    """Cost every run of an order at other places: all of them, if the costing affords so many.

    Else every place at the stations that look best there; else of each run the places that look cheapest.
    How a place looks is what the run there and the one behind it cost more, whatever follows.
    """
    return _Trial(scheduler, order, costing).tried()


class _Trial:
    def __init__(self, scheduler: Scheduler, order: Order, costing: Costing) -> None:
        self._scheduler = scheduler
        self._problem = scheduler.problem
        self._order = order
        self._costing = costing
        self._started = _started_jobs(self._problem)
        self._choices: dict[tuple[int, int], tuple[tuple[int, ...], ...]] = {}
        self._now_eur: dict[tuple[int, int], float] = {}
        self._runs = [
            (line_idx, position)
            for line_idx, placements in enumerate(order)
            for position in range(self._first_free(line_idx), len(placements))
        ]

    def tried(self) -> TriedPlaces:
        extent, places = self._chosen()
        asked = [(run, place) for run in self._runs for place in places[run]]
        outcomes = self._outcomes(asked)
        by_run: dict[RunAt, list[Tried]] = {run: [] for run in self._runs}
        for (run, place), outcome in zip(asked, outcomes, strict=True):
            by_run[run].append(Tried(run, place, outcome))
        return TriedPlaces(
            by_run={run: tuple(tried) for run, tried in by_run.items()},
            extent=extent,
            most_places=max(map(len, by_run.values()), default=0),
        )

    def _outcomes(self, asked: list[tuple[RunAt, Place]]) -> Iterator[Outcome]:
        for first in range(0, len(asked), BATCH):
            orders = [moved(self._order, run, place) for run, place in asked[first : first + BATCH]]
            yield from self._costing.outcomes(orders)

    def _chosen(self) -> tuple[Extent, dict[RunAt, list[Place]]]:
        """The places to be costed, by run."""
        afforded = self._costing.most_orders
        if sum(map(self._count, self._runs)) <= afforded:
            return Extent.ALL, {run: list(self._places(run)) for run in self._runs}
        looks = {run: self._looks(run) for run in self._runs}
        if sum(map(len, looks.values())) <= afforded and self._looks_everywhere:
            return Extent.BEST_STATIONS, {run: [place for _, place in seen] for run, seen in looks.items()}
        each = max(1, afforded // max(1, len(self._runs)))
        return Extent.NEAREST, {run: [place for _, place in seen[:each]] for run, seen in looks.items()}

    def _count(self, run: RunAt) -> int:
        job_idx = self._placement(run).job_idx
        return sum(
            len(self._positions(run, line_idx)) * len(self._station_choices(line_idx, job_idx))
            for line_idx in range(len(self._order))
        )

    def _places(self, run: RunAt) -> Iterator[Place]:
        """Every other place of a run at all its stations there."""
        job_idx = self._placement(run).job_idx
        for line_idx in range(len(self._order)):
            for position in self._positions(run, line_idx):
                for stations in self._station_choices(line_idx, job_idx):
                    yield Place(line_idx, position, stations)

    def _looks(self, run: RunAt) -> list[tuple[float, Place]]:
        """Other places of a run, each at the stations that look best, the cheapest-looking first."""
        placement = self._placement(run)
        seen: list[tuple[float, Place]] = []
        for line_idx in range(len(self._order)):
            choices = self._few_choices(run, line_idx)
            for position in self._near_positions(run, line_idx) if choices else ():
                looks = [
                    (self._look(run, line_idx, position, replace(placement, stations=stations)), stations)
                    for stations in choices
                ]
                eur, stations = min(looks)
                seen.append((eur, Place(line_idx, position, stations)))
        return sorted(seen, key=lambda one: (one[0], one[1].line_idx, one[1].position))

    def _look(self, run: RunAt, line_idx: int, position: int, placement: Placement) -> float:
        """What a run and the one behind it cost at a place, less what that one costs now."""
        behind = position + (line_idx == run[0] and position >= run[1])
        state = state_before(self._states, [(line_idx, behind)])
        event = self._scheduler.next_step(state, self._scheduler.plan(line_idx, placement))
        if not isinstance(event, Event):
            return inf
        if behind >= len(self._order[line_idx]):
            return event.eur
        follower = self._scheduler.plan(line_idx, self._order[line_idx][behind])
        after = state.snapshot()
        self._scheduler.place(after, event)
        then = self._scheduler.next_step(after, follower)
        return event.eur + then.eur - self._eur_now(line_idx, behind) if isinstance(then, Event) else inf

    def _eur_now(self, line_idx: int, position: int) -> float:
        """What the run at a position costs where it stands."""
        key = (line_idx, position)
        if key not in self._now_eur:
            step = self._scheduler.next_step(
                state_before(self._states, [key]),
                self._scheduler.plan(line_idx, self._order[line_idx][position]),
            )
            self._now_eur[key] = step.eur if isinstance(step, Event) else 0.0
        return self._now_eur[key]

    @cached_property
    def _states(self) -> list[State]:
        plans: list[list[RunPlan]] = [
            [self._scheduler.plan(line_idx, placement) for placement in placements]
            for line_idx, placements in enumerate(self._order)
        ]
        states: list[State] = []
        self._scheduler.run(plans, keep=states)
        return states

    @cached_property
    def _each_looks_at(self) -> int:
        """Places that are looked at of each run on a line."""
        return max(4, MOST_LOOKED_AT // (max(1, len(self._runs)) * len(self._order)))

    @property
    def _looks_everywhere(self) -> bool:
        return all(len(placements) <= self._each_looks_at for placements in self._order)

    def _near_positions(self, run: RunAt, line_idx: int) -> list[int]:
        """Positions on a line that are looked at: all, or those next to runs that share most with it."""
        positions = self._positions(run, line_idx)
        if len(positions) <= self._each_looks_at:
            return positions
        own = self._shared[self._placement(run).job_idx]
        row = [placement for at, placement in enumerate(self._order[line_idx]) if (line_idx, at) != run]
        alike = [len(own & self._shared[placement.job_idx]) for placement in row]
        beside = [0, *alike, 0]
        likest = sorted(positions, key=lambda at: (-beside[at] - beside[at + 1], at))
        return sorted(likest[: self._each_looks_at])

    @cached_property
    def _shared(self) -> list[frozenset[str]]:
        """What each job may share with its neighbour, by job."""
        return [
            frozenset(
                (
                    f"substrate {job.substrate}",
                    f"die {job.die}",
                    f"slit {job.slit_layout}",
                    *(f"{layer.kind} {layer.consumable}" for layer in job.layers),
                )
            )
            for job in self._problem.jobs
        ]

    def _few_choices(self, run: RunAt, line_idx: int) -> list[tuple[int, ...]]:
        placement = self._placement(run)
        choices = self._station_choices(line_idx, placement.job_idx)
        kept = [placement.stations] if line_idx == run[0] else []
        others = (stations for stations in choices if stations not in kept)
        return [*kept, *islice(others, MOST_CHOICES_LOOKED_AT - len(kept))]

    def _station_choices(self, line_idx: int, job_idx: int) -> tuple[tuple[int, ...], ...]:
        key = (line_idx, job_idx)
        if key not in self._choices:
            self._choices[key] = station_choices(self._problem, line_idx, job_idx)
        return self._choices[key]

    def _positions(self, run: RunAt, line_idx: int) -> list[int]:
        """Positions on a line that are free for a run taken out: behind a started one, not its own."""
        taken = int(line_idx == run[0])
        last = len(self._order[line_idx]) - taken
        return [
            position
            for position in range(self._first_free(line_idx), last + 1)
            if not taken or position != run[1]
        ]

    def _first_free(self, line_idx: int) -> int:
        placements = self._order[line_idx]
        return int(bool(placements) and (line_idx, placements[0].job_idx) in self._started)

    def _placement(self, run: RunAt) -> Placement:
        return self._order[run[0]][run[1]]


def _started_jobs(problem: Problem) -> frozenset[tuple[int, int]]:
    """Lines with the jobs that had started on them."""
    return frozenset(
        (problem.line_idx[lock.line], problem.job_idx[lock.job])
        for lock in problem.locks
        if isinstance(lock, Started)
    )


def cheapest(tried: Iterable[Tried]) -> Tried | None:
    """The one with fewest faults, then least cost; of equals the first."""
    return min(tried, key=lambda one: (one.outcome.faults, one.outcome.eur), default=None)
