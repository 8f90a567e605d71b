"""Why every run stands where it does: its cheapest other place, and what keeps it from ending earlier."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from solver.account import account_with
from solver.holds import Hold, holds
from solver.locks import Lock
from solver.other_places import Place, RunAt, Tried, TriedPlaces, cheapest, moved
from solver.schedule import Scheduler
from solver.sequence import Order, Run, Sequence
from solver.task_reasons import ChangeReason, TaskReasons


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A run at another place, costed by the account.

    Parameters
    ----------
    job, line, number
        The run that is moved; where it goes, and as which run of that line, from 1.
    behind, ahead_of
        The jobs before and after it there; None where it is the first, the last.
    stations
        Where its layers and its die are then done.
    end_ms
        When it ends there; None where it is left out there.
    extra_weighed_eur, extra_controllable_eur
        What the order costs more with it there, under the goal and in plain money without running.
    late, on_time
        Jobs that are late only then, and jobs that are late only now.
    left_out, broken, mended
        Jobs that do not run then though they do now; locks that only then, that only now are not kept.
    """

    job: str
    line: str
    number: int
    behind: str | None
    ahead_of: str | None
    stations: tuple[str, ...]
    end_ms: int | None
    extra_weighed_eur: Fraction
    extra_controllable_eur: Fraction
    late: tuple[str, ...]
    on_time: tuple[str, ...]
    left_out: tuple[str, ...]
    broken: tuple[Lock, ...]
    mended: tuple[Lock, ...]


@dataclass(frozen=True, slots=True)
class RunReasons:
    """Why a run stands where it does.

    Parameters
    ----------
    number
        Its number on its line, from 1.
    hold
        What its start waits for where it stands.
    places
        Other places for it that were costed.
    cheapest
        The cheapest of them; None where there is none, or each breaks more locks or leaves more out.
    earlier
        The cheapest at which it ends earlier; None as above.
    forbidden
        Where nothing lets it end earlier: the place ahead of the run before, if that breaks locks or leaves
        a job out.
    hold_ahead
        Where nothing lets it end earlier: what its start would wait for ahead of the run before, or where
        it stands, if it is the first.
    changes
        What its changeover changes, and what would spare that.
    """

    job: str
    line: str
    number: int
    hold: Hold
    places: int
    cheapest: Elsewhere | None
    earlier: Elsewhere | None
    forbidden: Elsewhere | None
    hold_ahead: Hold | None
    changes: tuple[ChangeReason, ...]


class Accounts:
    """Runs of a sequence at other places, told from exact costs."""

    def __init__(self, scheduler: Scheduler, sequence: Sequence, order: Order) -> None:
        self._scheduler = scheduler
        self._sequence = sequence
        self._order = order
        self._known: dict[tuple[RunAt, Place], Elsewhere] = {}

    def elsewhere(self, run: RunAt, place: Place) -> Elsewhere:
        """A run at another place."""
        key = (run, place)
        if key not in self._known:
            self._known[key] = self._account(run, place)
        return self._known[key]

    def _account(self, run: RunAt, place: Place) -> Elsewhere:
        problem = self._scheduler.problem
        order = moved(self._order, run, place)
        after = account_with(self._scheduler, order)
        placements = order[place.line_idx]
        placement = placements[place.position]
        line = problem.plant.lines[place.line_idx]

        def job_at(position: int) -> str | None:
            inside = 0 <= position < len(placements)
            return problem.jobs[placements[position].job_idx].id if inside else None

        there = (one for one in after.lines[place.line_idx].runs if one.placement == placement)
        now_late, then_late = late_jobs(self._sequence), late_jobs(after)
        now_out = {left_out.job for left_out in self._sequence.left_out}
        return Elsewhere(
            job=problem.jobs[placement.job_idx].id,
            line=line.id,
            number=place.position + 1,
            behind=job_at(place.position - 1),
            ahead_of=job_at(place.position + 1),
            stations=tuple(line.stations[idx].id for idx in placement.stations),
            end_ms=next((one.end_ms for one in there), None),
            extra_weighed_eur=after.weighed_eur - self._sequence.weighed_eur,
            extra_controllable_eur=after.cost.controllable_eur - self._sequence.cost.controllable_eur,
            late=tuple(job for job in then_late if job not in now_late),
            on_time=tuple(job for job in now_late if job not in then_late),
            left_out=tuple(left_out.job for left_out in after.left_out if left_out.job not in now_out),
            broken=self._locks(after, self._sequence),
            mended=self._locks(self._sequence, after),
        )

    def _locks(self, broken_in: Sequence, kept_in: Sequence) -> tuple[Lock, ...]:
        """Locks that only one of two sequences breaks."""
        only = set(broken_in.broken_locks) - set(kept_in.broken_locks)
        return tuple(lock for lock in self._scheduler.problem.locks if str(lock) in only)


def late_jobs(sequence: Sequence) -> tuple[str, ...]:
    """Jobs that end late, once each, in the sequence's order."""
    return tuple(dict.fromkeys(run.job for run in sequence.runs if run.lateness_ms > 0))


def faults_of(sequence: Sequence, order: Order) -> int:
    """Runs of an order left out of its sequence, and locks that it breaks."""
    return sum(map(len, order)) - len(sequence.runs) + len(sequence.broken_locks)


class PlaceReasons:
    """Tells for the runs of an order why they stand where they do."""

    def __init__(
        self, scheduler: Scheduler, sequence: Sequence, order: Order, tried: TriedPlaces, accounts: Accounts
    ) -> None:
        self._scheduler = scheduler
        self._order = order
        self._faults = faults_of(sequence, order)
        self._tried = tried
        self._accounts = accounts
        self._holds = holds(scheduler, order)
        self._tasks = TaskReasons(scheduler, order)

    def of(self, at: RunAt, run: Run) -> RunReasons:
        """Why the run at a line and position of the order stands there."""
        tried = self._tried.by_run.get(at, ())
        allowed = [one for one in tried if one.outcome.faults <= self._faults]
        earlier = [one for one in allowed if one.end_ms is not None and one.end_ms < run.end_ms]
        forbidden, hold_ahead = (None, None) if earlier or not tried else self._ahead(at, run)
        return RunReasons(
            job=run.job,
            line=run.line,
            number=at[1] + 1,
            hold=self._holds[at[0], run.placement],
            places=len(tried),
            cheapest=self._elsewhere(cheapest(allowed)),
            earlier=self._elsewhere(cheapest(earlier)),
            forbidden=forbidden,
            hold_ahead=hold_ahead,
            changes=self._tasks.of(run),
        )

    def _elsewhere(self, tried: Tried | None) -> Elsewhere | None:
        return None if tried is None else self._accounts.elsewhere(tried.run, tried.place)

    def _ahead(self, at: RunAt, run: Run) -> tuple[Elsewhere | None, Hold | None]:
        """What keeps a run from ending earlier, looked for one place further ahead on its line.

        Where that place breaks a lock or leaves a job out, it is that; else what its start waits for there.
        """
        line_idx, position = at
        own = self._holds[line_idx, run.placement]
        ahead = Place(line_idx, position - 1, run.placement.stations)
        forbidden = cheapest(
            one
            for one in self._tried.by_run[at]
            if one.outcome.faults > self._faults and one.end_ms is not None and one.end_ms < run.end_ms
        )
        if forbidden is not None:
            return self._accounts.elsewhere(at, forbidden.place), None
        if ahead not in [one.place for one in self._tried.by_run[at]]:
            return None, own
        told = self._accounts.elsewhere(at, ahead)
        if told.broken or told.left_out:
            return told, None
        there = holds(self._scheduler, moved(self._order, at, ahead))
        return None, there.get((line_idx, run.placement), own)
