"""Why a job is late, and the cheapest single move that makes it on time.

A split job is late with the last of its lots: of that run it is told, and it is on time when all of them are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import islice

from solver.baselines import started_order
from solver.explain_places import Accounts, Elsewhere
from solver.feasibility import station_choices
from solver.holds import Awaited, Hold, holds
from solver.other_places import MOST_CHOICES_LOOKED_AT, RunAt, Tried, TriedPlaces, cheapest, moved
from solver.schedule import Scheduler
from solver.sequence import LineRuns, Order, Placement, Run, Sequence
from solver.timeline import Event

_NEVER_MS = 1 << 62


@dataclass(frozen=True, slots=True)
class Alone:
    """A job by itself, first on the line where it then ends soonest.

    `setup_ms` and `run_ms` are what it takes there, `hold` what its start waits for.
    """

    line: str
    start_ms: int
    setup_ms: int
    run_ms: int
    end_ms: int
    hold: Hold


@dataclass(frozen=True, slots=True)
class SpentBefore:
    """What a run before takes of the line's time: its changeover, and its running with all inside it."""

    job: str
    setup_ms: int
    run_ms: int


@dataclass(frozen=True, slots=True)
class LineTime:
    """A line's time from the plan's start to the end of a late run, every ms of it.

    Parameters
    ----------
    before
        The runs before it on its line, in order.
    setup_ms, run_ms
        Its own changeover, and its running with roll ends and closure stops.
    waiting_ms
        Open time without work.
    closed_ms
        Time in which the line is closed.
    """

    before: tuple[SpentBefore, ...]
    setup_ms: int
    run_ms: int
    waiting_ms: int
    closed_ms: int

    @property
    def total_ms(self) -> int:
        spent_ms = sum(spent.setup_ms + spent.run_ms for spent in self.before)
        return spent_ms + self.setup_ms + self.run_ms + self.waiting_ms + self.closed_ms


@dataclass(frozen=True, slots=True)
class LateReasons:
    """What makes a job's last run late, and what would help.

    Parameters
    ----------
    alone
        The run by itself; None where it cannot run so, as when its stock is never enough.
    chain
        The last of the runs before it, up to it, that follow each other without waiting: the first of
        them waits for `chain_hold`, and the rest for each other.
    remedy
        The cheapest single move after which the job is on time; None where none is.
    harmless
        The cheapest after which it is on time and no job is late that is on time now; None where none is.
    soonest
        Where none is: the single move after which it ends soonest, if any lets it end earlier.
    soonest_end_ms
        When it then ends.
    moves
        Single moves that were costed.
    """

    job: str
    line: str
    number: int
    press_due_ms: int
    end_ms: int
    lateness_ms: int
    alone: Alone | None
    time: LineTime
    chain: tuple[str, ...]
    chain_hold: Hold
    remedy: Elsewhere | None
    harmless: Elsewhere | None
    soonest: Elsewhere | None
    soonest_end_ms: int
    moves: int

    @property
    def late_even_alone(self) -> bool:
        """Whether it would be late even if it ran first and alone."""
        return self.alone is not None and self.alone.end_ms > self.press_due_ms


class LatenessReasons:
    """Tells for the late runs of an order what makes them late."""

    def __init__(
        self, scheduler: Scheduler, sequence: Sequence, faults: int, tried: TriedPlaces, accounts: Accounts
    ) -> None:
        self._scheduler = scheduler
        self._problem = scheduler.problem
        self._sequence = sequence
        self._order = sequence.order
        self._allowed = [one for one in tried if one.outcome.faults <= faults]
        self._accounts = accounts
        self._holds = holds(scheduler, self._order)
        self._late_now = frozenset(run.job_idx for run in sequence.runs if run.lateness_ms > 0)
        self._press_due_ms = [
            _NEVER_MS if job.due_ms is None else job.due_ms - self._problem.plant.after_press_ms
            for job in self._problem.jobs
        ]

    def of(self, at: RunAt, run: Run) -> LateReasons:
        """Why the run at a line and position of the order is late.

        Raises
        ------
        ValueError
            Where it is not.
        """
        if run.press_due_ms is None or run.lateness_ms == 0:
            raise ValueError(f"job {run.job} is not late")
        line_idx, position = at
        line = self._sequence.lines[line_idx]
        chain = self._chain(at)
        parts = self._parts(run.job_idx)
        on_time = [one for one in self._allowed if _end_ms(one, parts) <= run.press_due_ms]
        remedy = cheapest(on_time)
        soonest = min(self._allowed, key=lambda one: _soonest(one, parts), default=None)
        helps = remedy is None and soonest is not None and _end_ms(soonest, parts) < run.end_ms
        return LateReasons(
            job=run.job,
            line=run.line,
            number=position + 1,
            press_due_ms=run.press_due_ms,
            end_ms=run.end_ms,
            lateness_ms=run.lateness_ms,
            alone=self._alone(run),
            time=self._line_time(line_idx, line, position),
            chain=tuple(one.job for one in chain),
            chain_hold=self._holds[line_idx, chain[0].placement],
            remedy=self._elsewhere(remedy),
            harmless=self._elsewhere(self._harmless(on_time)),
            soonest=self._elsewhere(soonest) if helps else None,
            soonest_end_ms=_end_ms(soonest, parts) if helps and soonest is not None else run.end_ms,
            moves=len(self._allowed),
        )

    def _parts(self, job_idx: int) -> tuple[RunAt, ...]:
        """Where a job's runs stand: one, or a lot each."""
        return tuple(
            (line_idx, position)
            for line_idx, placements in enumerate(self._order)
            for position, placement in enumerate(placements)
            if placement.job_idx == job_idx
        )

    def _elsewhere(self, tried: Tried | None) -> Elsewhere | None:
        return None if tried is None else self._accounts.elsewhere(tried.run, tried.place)

    def _harmless(self, on_time: list[Tried]) -> Tried | None:
        """The cheapest of these moves after which no job is late that is on time now."""
        by_cost = sorted(on_time, key=lambda one: (one.outcome.faults, one.outcome.eur))
        return next((one for one in by_cost if self._late_after(one) <= self._late_now), None)

    def _late_after(self, tried: Tried) -> frozenset[int]:
        """Jobs that are late after a move."""
        after = moved(self._order, tried.run, tried.place)
        return frozenset(
            placement.job_idx
            for placements, ends_ms in zip(after, tried.outcome.ends_ms, strict=True)
            for placement, end_ms in zip(placements, ends_ms, strict=True)
            if end_ms is not None and end_ms > self._press_due_ms[placement.job_idx]
        )

    def _chain(self, at: RunAt) -> list[Run]:
        """Runs that follow each other without waiting, up to this one."""
        line_idx, position = at
        runs = self._sequence.lines[line_idx].runs
        first = position
        while first > 0 and self._holds[line_idx, runs[first].placement].awaited is Awaited.LINE:
            first -= 1
        return list(runs[first : position + 1])

    def _line_time(self, line_idx: int, line: LineRuns, position: int) -> LineTime:
        calendar = self._problem.plant.lines[line_idx].calendar
        spent = [self._spent(line_idx, run) for run in line.runs[: position + 1]]
        end_ms = line.runs[position].end_ms
        open_ms = calendar.open_between(0, end_ms)
        busy_ms = sum(one.setup_ms + one.run_ms for one in spent)
        return LineTime(
            before=tuple(spent[:-1]),
            setup_ms=spent[-1].setup_ms,
            run_ms=spent[-1].run_ms,
            waiting_ms=open_ms - busy_ms,
            closed_ms=end_ms - open_ms,
        )

    def _spent(self, line_idx: int, run: Run) -> SpentBefore:
        if run.changeover is None:
            calendar = self._problem.plant.lines[line_idx].calendar
            return SpentBefore(run.job, 0, calendar.open_between(0, run.end_ms))
        inside_ms = run.run_ms + run.roll_end_ms + run.interruption_ms
        return SpentBefore(run.job, run.changeover.duration_ms, inside_ms)

    def _alone(self, run: Run) -> Alone | None:
        """The run by itself behind started runs alone, at the line and stations where it ends soonest."""
        started = started_order(self._problem)
        if run.changeover is None:
            return None
        best: tuple[Event, Order] | None = None
        for line_idx in range(len(self._order)):
            choices = station_choices(self._problem, line_idx, run.job_idx)
            for stations in islice(choices, MOST_CHOICES_LOOKED_AT):
                order = _with(started, line_idx, replace(run.placement, stations=stations))
                event = self._last_event(order, line_idx)
                if event is not None and (best is None or event.end_ms < best[0].end_ms):
                    best = (event, order)
        if best is None or best[0].changeover is None:
            return None
        event, order = best
        return Alone(
            line=self._problem.plant.lines[event.plan.line_idx].id,
            start_ms=event.start_ms,
            setup_ms=event.changeover.duration_ms if event.changeover else 0,
            run_ms=event.plan.work_ms,
            end_ms=event.end_ms,
            hold=holds(self._scheduler, order)[event.plan.line_idx, event.plan.placement],
        )

    def _last_event(self, order: Order, line_idx: int) -> Event | None:
        """Where the last run of a line comes out; None where it is left out."""
        plans = [
            [self._scheduler.plan(idx, placement) for placement in placements]
            for idx, placements in enumerate(order)
        ]
        state = self._scheduler.run(plans)
        events = state.events if state else []
        last = order[line_idx][-1]
        return next((event for event in events if event.plan.placement == last), None)


def _with(started: list[list[Placement]], line_idx: int, placement: Placement) -> Order:
    return tuple(
        (*placements, placement) if idx == line_idx else tuple(placements)
        for idx, placements in enumerate(started)
    )


def _position_after(tried: Tried, at: RunAt) -> RunAt:
    """Where a run of the order stands once another, or it itself, has been moved."""
    (from_line, from_position), place = tried.run, tried.place
    if at == tried.run:
        return place.line_idx, place.position
    line_idx, position = at
    if line_idx == from_line and position > from_position:
        position -= 1
    if line_idx == place.line_idx and position >= place.position:
        position += 1
    return line_idx, position


def _end_ms(tried: Tried, parts: tuple[RunAt, ...]) -> int:
    """When the last of a job's runs ends after the move; never where one is left out."""
    ends_ms = [
        tried.outcome.ends_ms[line_idx][position]
        for line_idx, position in (_position_after(tried, at) for at in parts)
    ]
    return max(_NEVER_MS if end_ms is None else end_ms for end_ms in ends_ms)


def _soonest(tried: Tried, parts: tuple[RunAt, ...]) -> tuple[int, int, float]:
    return _end_ms(tried, parts), tried.outcome.faults, tried.outcome.eur


def ends_its_job(run: Run, sequence: Sequence) -> bool:
    """Whether a run is the last of its job's to end; of equals the last in the order."""
    same = [other for other in sequence.runs if other.job_idx == run.job_idx]
    return run is max(reversed(same), key=lambda other: other.end_ms)
