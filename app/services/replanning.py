"""What a plan keeps of the sequences that are released: what is in force, what runs, what keeps its place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property

from app.contracts.jobs import Job
from app.contracts.locks import LineLock, Lock, PositionLock, StartedLock
from app.contracts.orders import LineOrder, OrderedRun, RunOrder
from app.contracts.planning_requests import Keeping
from app.contracts.plant import Plant
from app.contracts.sequences import Goal, Run
from app.errors import BadInput, NothingCanRun
from app.services import planning
from app.services.queue_now import known_codes, laid, plant_at
from app.services.work_left import JobRun, Running, WorkLeft, work_left
from app.services.workshop import Workshop
from app.store import job_lookup
from app.store import sequences as kept_sequences
from app.store.store import View
from app.translation.open_time import end_of_work
from app.translation.solving import Question


@dataclass(frozen=True, slots=True)
class Kept:
    """What a plan keeps.

    Parameters
    ----------
    in_force
        Released runs that are still to be made, behind what is running; None where there are none.
    locks
        What is running, with its times; and runs that keep line and place.
    notes
        What people should know of it.
    made
        Open jobs of which all released runs have ended: they need no run any more.
    """

    in_force: RunOrder | None = None
    locks: tuple[Lock, ...] = ()
    notes: tuple[str, ...] = ()
    made: tuple[str, ...] = ()


def kept_of(shop: Workshop, view: View, keep: Keeping, begins: datetime) -> Kept:
    """What a plan that begins at a time keeps of the current releases.

    In force is what is released and still to be made: not begun by actuals, of an open job. What has begun by
    actuals and not ended runs on, whether it is released or not, as long as it was to take, and never ends
    before the plan begins. Runs whose changeover was to start before the frozen time is over keep line and
    place among those that are left.
    """
    if not keep.released:
        return Kept()
    return _Keeper(shop, view, keep, begins).kept()


@dataclass
class _Keeper:
    shop: Workshop
    view: View
    keep: Keeping
    begins: datetime
    notes: list[str] = field(default_factory=list)

    def kept(self) -> Kept:
        left = self._left
        started = {line: self._started(line, running) for line, running in left.running.items()}
        locks = self._that_hold([lock for lock in started.values() if lock is not None])
        to_make = self._without(locks)
        frozen = tuple(self._frozen(to_make))
        return Kept(
            self._in_force(to_make, {lock.line: lock.job for lock in locks}),
            (*locks, *frozen),
            (*left.notes, *self.notes),
            tuple(job for job in left.made if job not in self._running_jobs),
        )

    @cached_property
    def _plant(self) -> Plant:
        return plant_at(self.shop.plants.of(self.view).plant, self.begins, [])

    @cached_property
    def _left(self) -> WorkLeft:
        return work_left(self.view, [line.id for line in self._plant.lines])

    @cached_property
    def _running_jobs(self) -> frozenset[str]:
        return frozenset(running.made.job for running in self._left.running.values())

    @cached_property
    def _jobs(self) -> dict[str, Job]:
        """Jobs that run or are to be made, as far as the plant has all that they name."""
        to_make = (run.job for runs in self._left.to_make.values() for run in runs)
        codes = known_codes(self._plant)
        found = job_lookup.by_number(self.view, sorted({*to_make, *self._running_jobs}))
        return {job.job: laid(job) for job in found if not codes.missing_of(job)}

    @cached_property
    def _planned(self) -> dict[tuple[str, str, int], Run]:
        """Runs of released sequences with all that was planned of them."""
        of_running = (running.released for running in self._left.running.values())
        runs = [run for runs in self._left.to_make.values() for run in runs]
        runs += [run for run in of_running if run is not None]
        return {
            (sequence, line.line, position): run
            for sequence in sorted({run.run.sequence for run in runs})
            for line in kept_sequences.lines_of(self.view, sequence)
            for position, run in enumerate(line.runs, 1)
        }

    def _plan_of(self, run: JobRun) -> Run:
        return self._planned[run.run.sequence, run.run.line, run.run.position]

    # what is running

    def _started(self, line: str, running: Running) -> StartedLock | None:
        """The lock of what runs on a line; None, with a note, where it cannot be told when it will end."""
        made, released = running.made, running.released
        here = released if released is not None and released.run.line == line else None
        minutes = _minutes(self._plan_of(here)) if here else self._alone_min(made.job, line)
        if minutes is None and released is not None:
            minutes = _minutes(self._plan_of(released))
        if minutes is None:
            self.notes.append(
                f"{made.job} runs on {line}, but how long it takes there cannot be told: it is planned as if "
                "it had not begun."
            )
            return None
        minutes += self._rest_min(made.job)
        ends = end_of_work(self._plant, line, made.started, minutes)
        if ends < self.begins:
            self.notes.append(
                f"{made.job} should have ended on {line} at {ends.isoformat(timespec='minutes')}: it is "
                "taken to end when the plan begins."
            )
        return StartedLock(
            lock="started",
            job=made.job,
            line=line,
            changeover_start=min(made.changeover_start or made.started, self.begins),
            print_start=made.started,
            end=max(ends, self.begins, made.started),
            stations=self._plan_of(here).stations if here else None,
        )

    def _rest_min(self, job: str) -> Decimal:
        """What the other lots take of a job of which one has begun: a plan cannot part it any more."""
        others = [run for runs in self._left.to_make.values() for run in runs if run.job == job]
        if others:
            self.notes.append(
                f"{job} has begun and is still to be made in {len(others)} more lots: a plan parts no job "
                "that has begun, so all of it is taken to run where it is."
            )
        return sum((_minutes(self._plan_of(run)) for run in others), Decimal(0))

    def _alone_min(self, job: str, line: str) -> Decimal | None:
        """Minutes that a job takes on a line for which it is not released; None where it cannot run there.
        What it needs of stock has been drawn already.
        """
        if job not in self._jobs:
            return None
        order = RunOrder(lines=(LineOrder(line=line, runs=(OrderedRun(job=job),)),))
        question = Question(_of_endless_stock(self._plant), (self._jobs[job],), self.begins)
        try:
            plan = planning.cost(question, order, Goal.BALANCED)
        except (BadInput, NothingCanRun):
            return None
        (run,) = (run for each in plan.sequence.lines for run in each.runs)
        return _minutes(run)

    def _that_hold(self, locks: Sequence[StartedLock]) -> list[StartedLock]:
        """Locks of what runs that the plant can keep together. Where actuals speak against it, such as by two
        runs with one die, those of the runs that began first are given up: they may well have ended.
        """
        held: list[StartedLock] = []
        for lock in sorted(locks, key=lambda lock: lock.print_start, reverse=True):
            for stations in dict.fromkeys((lock.stations, None)):
                tried = lock.model_copy(update={"stations": stations})
                why = self._why_not([*held, tried])
                if why is None:
                    held.append(tried)
                    break
            else:
                self.notes.append(
                    f"{lock.job} runs on {lock.line} as actuals say, but cannot: {why}. The line is taken to "
                    "be free when the plan begins."
                )
        on_line = {lock.line: lock for lock in held}
        return [on_line[line] for line in self._left.running if line in on_line]

    def _why_not(self, locks: Sequence[StartedLock]) -> str | None:
        """Why runs cannot have started all together; None: they can."""
        unknown = [lock.job for lock in locks if lock.job not in self._jobs]
        if unknown:
            return f"the plant does not have all that {unknown[0]} names"
        jobs = {lock.job: self._jobs[lock.job] for lock in locks}
        if len(jobs) < len(locks):
            return "it runs on another line too"
        runs = [(lock.line, OrderedRun(job=lock.job, stations=lock.stations)) for lock in locks]
        order = RunOrder(lines=tuple(LineOrder(line=line, runs=(run,)) for line, run in runs))
        question = Question(self._plant, tuple(jobs.values()), self.begins, tuple(locks))
        try:
            planning.cost(question, order, Goal.BALANCED)
        except (BadInput, NothingCanRun, ValueError) as error:
            return (str(error).splitlines() or [type(error).__name__])[-1]
        return None

    # what is still to be made

    def _without(self, locks: Sequence[StartedLock]) -> dict[str, tuple[JobRun, ...]]:
        """What is to be made besides the jobs that run."""
        started = {lock.job for lock in locks}
        return {
            line: tuple(run for run in runs if run.job not in started)
            for line, runs in self._left.to_make.items()
        }

    def _in_force(
        self, to_make: Mapping[str, Sequence[JobRun]], started: Mapping[str, str]
    ) -> RunOrder | None:
        """What is to be made, on every line behind what has started there; what actuals have there that
        cannot be is in force too where it is released.
        """
        lines = {line: [self._ordered(run) for run in runs] for line, runs in to_make.items()}
        placed = {*started.values(), *(run.job for runs in lines.values() for run in runs)}
        for line, running in self._left.running.items():
            job = running.made.job
            if line in started or (running.released is not None and job not in placed):
                placed.add(job)
                lines[line].insert(0, OrderedRun(job=job))
        orders = tuple(LineOrder(line=line, runs=tuple(runs)) for line, runs in lines.items() if runs)
        return RunOrder(lines=orders) if orders else None

    def _ordered(self, run: JobRun) -> OrderedRun:
        return OrderedRun(job=run.job, stations=self._plan_of(run).stations, lot=run.run.lot)

    def _frozen(self, to_make: Mapping[str, Sequence[JobRun]]) -> Iterator[Lock]:
        """Line and place of runs that were to begin soon: the first of those that are left on their line."""
        until = self.begins + timedelta(minutes=self.keep.frozen_min)
        soon = {
            line: [run for run in runs if run.run.changeover_start < until]
            for line, runs in to_make.items()
            if self.keep.frozen_min
        }
        cannot = self._cannot([run for runs in soon.values() for run in runs])
        lots = [run.job for runs in to_make.values() for run in runs]
        for line, runs in soon.items():
            yield from self._frozen_on(line, [run for run in runs if run not in cannot], lots)

    def _frozen_on(self, line: str, runs: Sequence[JobRun], lots: Sequence[str]) -> Iterator[Lock]:
        """What is held of a line. A run in lots cannot be; behind it others are held on the line alone."""
        has_place = True
        for position, run in enumerate(runs, 1):
            if lots.count(run.job) > 1:
                has_place = False
                self.notes.append(
                    f"{run.name} is to begin soon on {line} and cannot be held there, since the job runs in "
                    "lots."
                )
                continue
            yield LineLock(lock="on-line", job=run.job, line=line)
            if has_place:
                yield PositionLock(lock="at-position", job=run.job, position=position)

    def _cannot(self, runs: Sequence[JobRun]) -> set[JobRun]:
        """Runs that cannot stay on their line, since it cannot run their job any more; each with a note."""
        jobs = {run.job: self._jobs[run.job] for run in runs if run.job in self._jobs}
        if not jobs:
            return set(runs)
        found = planning.check(Question(self._plant, tuple(jobs.values()), self.begins))
        reasons = {(job.job, fit.line): fit.reasons for job in found.jobs for fit in job.lines}
        unknown = ("the plant does not have all that it names",)
        cannot: set[JobRun] = set()
        for run in runs:
            why = reasons.get((run.job, run.run.line), unknown)
            if why:
                cannot.add(run)
                self.notes.append(f"{run.name} cannot stay on {run.run.line}: {'; '.join(why)}.")
        return cannot


def _minutes(run: Run) -> Decimal:
    """Open minutes of a run, roll ends included."""
    return run.run_min + run.roll_end_min


def _of_endless_stock(plant: Plant) -> Plant:
    """The plant with always enough of every stock."""
    endless = {"on_hand_m": None, "rolls": (), "deliveries": ()}
    return plant.model_copy(
        update={
            "substrates": tuple(
                substrate.model_copy(
                    update={"widths": tuple(width.model_copy(update=endless) for width in substrate.widths)}
                )
                for substrate in plant.substrates
            )
        }
    )
