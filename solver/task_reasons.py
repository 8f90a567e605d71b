"""Which changes of a changeover are forced, and which jobs of the queue, run before it, would spare them.

A change at a station is forced when, whatever other run of the queue came directly before, what that run
leaves there would not be what this one needs, on a line that stays warm. What it would cost to run that
one before is another question.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from solver.changeover import SPLICE_TABLE
from solver.feasibility import station_choices
from solver.layout import chosen_stock
from solver.plant import Line
from solver.problem import Problem
from solver.schedule import Scheduler
from solver.sequence import AspectChange, Order, Run, Task
from solver.tooling import EMPTY, Needs, asleep, change_ms, loaded_after, present_loaded, station_needs

MOST_CHOICES = 200
"""Station choices of a job in which it is looked for which layer may sit where."""


@dataclass(frozen=True, slots=True)
class ChangeReason:
    """One aspect changed at a station, and what would spare it.

    Parameters
    ----------
    spared_behind
        Jobs behind which it is not needed, in the queue's order.
    spared_first
        Whether it is not needed where the run is first on its line.
    """

    station: str
    change: AspectChange
    spared_behind: tuple[str, ...]
    spared_first: bool

    @property
    def is_forced(self) -> bool:
        return not self.spared_behind and not self.spared_first


class TaskReasons:
    """Tells for the runs of an order what forces their tasks."""

    def __init__(self, scheduler: Scheduler, order: Order) -> None:
        self._scheduler = scheduler
        self._problem = scheduler.problem
        self._placed = sorted({placement.job_idx for placements in order for placement in placements})
        twice = [placement.job_idx for placements in order for placement in placements]
        self._parts = {job_idx: twice.count(job_idx) for job_idx in self._placed}
        self._offers: dict[tuple[int, int], dict[Needs, tuple[int, ...]]] = {}
        self._seats: dict[tuple[int, int], dict[int, frozenset[Needs]]] = {}

    def of(self, run: Run) -> tuple[ChangeReason, ...]:
        """Every change of a run's changeover, in web order; none for a run that had started."""
        if run.changeover is None:
            return ()
        tasks = [task for stop in run.changeover.stops for task in stop.tasks]
        tasks += run.changeover.hidden
        tasks.sort(key=lambda task: task.station_idx)
        return tuple(self._reason(run, task, change) for task in tasks for change in task.changes)

    def _reason(self, run: Run, task: Task, change: AspectChange) -> ChangeReason:
        line_idx = self._problem.line_idx[run.line]
        line = self._problem.plant.lines[line_idx]
        station = line.stations[task.station_idx]
        aspect_idx = next(idx for idx, aspect in enumerate(station.aspects) if aspect.name == change.aspect)
        aspect = station.aspects[aspect_idx]

        def spares(before: str) -> bool:
            return change_ms(self._problem, aspect, before, change.after) == 0

        held = tuple(change.before if idx == aspect_idx else EMPTY for idx, _ in enumerate(station.aspects))
        behind: set[int] = set()
        for needs, job_idxs in self._offered(line_idx, task.station_idx).items():
            if spares(loaded_after(station, held, needs)[aspect_idx]):
                behind.update(job_idxs)
        if self._parts[run.job_idx] < 2:
            behind.discard(run.job_idx)
        return ChangeReason(
            station=task.station,
            change=change,
            spared_behind=tuple(self._problem.jobs[job_idx].id for job_idx in sorted(behind)),
            spared_first=self._is_spared_first(line, task, aspect_idx, spares),
        )

    def _is_spared_first(
        self, line: Line, task: Task, aspect_idx: int, spares: Callable[[str], bool]
    ) -> bool:
        """Whether the line as it stands when the plan begins needs no such change."""
        held = present_loaded(line)[task.station_idx]
        if task.station_idx == SPLICE_TABLE and held[aspect_idx] == EMPTY:
            return True
        if line.present.cold:
            held = asleep(line.stations[task.station_idx], held)
        return spares(held[aspect_idx])

    def _offered(self, line_idx: int, station_idx: int) -> dict[Needs, tuple[int, ...]]:
        """What runs of the queue leave at a station of a line, and which jobs do."""
        key = (line_idx, station_idx)
        if key not in self._offers:
            jobs_by_needs: dict[Needs, list[int]] = {}
            for job_idx in self._placed:
                for needs in self._needs_at(line_idx, job_idx).get(station_idx, ()):
                    jobs_by_needs.setdefault(needs, []).append(job_idx)
            self._offers[key] = {needs: tuple(job_idxs) for needs, job_idxs in jobs_by_needs.items()}
        return self._offers[key]

    def _needs_at(self, line_idx: int, job_idx: int) -> dict[int, frozenset[Needs]]:
        """What a job may need at each station of a line, by any of its station choices."""
        key = (line_idx, job_idx)
        if key not in self._seats:
            self._seats[key] = _needs_at(self._problem, line_idx, job_idx)
        return self._seats[key]


def _needs_at(problem: Problem, line_idx: int, job_idx: int) -> dict[int, frozenset[Needs]]:
    line, job = problem.plant.lines[line_idx], problem.jobs[job_idx]
    stock = chosen_stock(problem, line, job)
    if stock is None:
        return {}
    found: dict[int, set[Needs]] = {}
    seated: set[tuple[int, int]] = set()
    for chosen in station_choices(problem, line_idx, job_idx)[:MOST_CHOICES]:
        seats = set(enumerate(chosen))
        if seats <= seated:
            continue
        seated |= seats
        for station_idx, needs in station_needs(problem, line, job, chosen, stock).items():
            found.setdefault(station_idx, set()).add(needs)
    return {station_idx: frozenset(needs) for station_idx, needs in found.items()}


def forced_ms(reasons: tuple[ChangeReason, ...]) -> Fraction:
    """One person's time of the changes that no other run before could spare."""
    return sum((reason.change.duration_ms for reason in reasons if reason.is_forced), Fraction(0))


def most_sparing(reasons: tuple[ChangeReason, ...]) -> tuple[str, Fraction] | None:
    """The job that would spare most of one person's time directly before, and how much."""
    spared_ms: dict[str, Fraction] = {}
    for reason in reasons:
        for job in reason.spared_behind:
            spared_ms[job] = spared_ms.get(job, Fraction(0)) + reason.change.duration_ms
    return max(spared_ms.items(), key=lambda item: item[1], default=None)
