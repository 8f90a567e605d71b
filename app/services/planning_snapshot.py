"""What a planning request is worked out from: plant, jobs, locks and what is in force, as they are now.

Only reads. What is wrong with the request is told at once, with its place; jobs that cannot be planned yet
stand aside with their reasons, and so do rolls that are of no use.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from app.contracts.base import ZERO, at_site
from app.contracts.known_names import unknown
from app.contracts.locks import LineLock, Lock, PositionLock, StartedLock, jobs_of
from app.contracts.orders import RunOrder
from app.contracts.planning_requests import MOST_JOBS, Keeping, NewPlanningRequest, PlanningInput
from app.contracts.plant import Plant, StockedWidth, Substrate
from app.contracts.posted_jobs import JobStatus, PostedJob
from app.errors import BadInput, Fault, NothingCanRun
from app.intake.locks_file import lock_faults
from app.services.queue_now import QueueNow, queue_now
from app.services.sequences import state_of
from app.services.workshop import Workshop
from app.store import job_lookup
from app.store.store import View
from app.translation.solving import Question


class KeptRuns(Protocol):
    """What is kept of released sequences."""

    @property
    def in_force(self) -> RunOrder | None:
        """Runs that are still to be made, where they are released."""

    @property
    def locks(self) -> tuple[Lock, ...]:
        """Runs that are being made, and those that keep their place."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What people should know of it."""

    @property
    def made(self) -> tuple[str, ...]:
        """Open jobs that have been made as they were released."""


@dataclass(frozen=True, slots=True)
class NothingKept:
    """Nothing of what is released is kept."""

    in_force: RunOrder | None = None
    locks: tuple[Lock, ...] = ()
    notes: tuple[str, ...] = ()
    made: tuple[str, ...] = ()


NOTHING_KEPT = NothingKept()

KeptOf = Callable[[Workshop, View, Keeping, datetime], KeptRuns]
"""Tells what is kept of released sequences in a plan that begins at a time."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that a request is worked out from.

    Parameters
    ----------
    state
        What plant and jobs are, in a word: another one means that something of them has changed.
    notes
        What was left aside, for people.
    """

    input: PlanningInput
    state: str
    notes: tuple[str, ...]


def snapshot(shop: Workshop, view: View, asked: NewPlanningRequest, kept_of: KeptOf) -> Snapshot:
    """What a request is worked out from, as it is now. That takes a while, in which others may write.

    Raises
    ------
    BadInput
        With lines and jobs that there are not, locks that cannot be kept, whatever the solver refuses.
    NothingCanRun
        Where no job is left.
    """
    known = shop.plants.of(view)
    begins = at_site(known.plant.site.begins(asked.start, shop.now()), known.plant.site.zone_info)
    faults = [*_line_faults(asked, known.plant), *_job_faults(view, asked)]
    if faults:
        raise BadInput(faults)
    notes: list[str] = []
    plant = only_lines(known.plant, asked.lines, notes)
    kept = NOTHING_KEPT if asked.keep is None else kept_of(shop, view, asked.keep, begins)
    queue = queue_now(plant, _jobs(view, asked, kept, notes), begins)
    faults = list(_lock_faults(asked.locks, queue))
    if faults:
        raise BadInput(faults)
    waiting = [f"{job} stands aside: {'; '.join(why)}." for job, why in queue.waiting.items()]
    if not queue.question.jobs:
        raise NothingCanRun(waiting or ["No job is open that is meant."])
    locks = (*asked.locks, *_kept_locks(kept, asked.locks, queue, notes))
    question = replace(queue.question, locks=locks, in_force=kept.in_force)
    _ = question.problem  # what contradicts itself is told now, and not by a request that fails
    versions = job_lookup.versions(view, sorted(job.job for job in question.jobs))
    return Snapshot(
        _input(question, asked),
        state_of(known.setup_version, versions),
        (*notes, *queue.notes, *waiting, *kept.notes),
    )


def only_lines(plant: Plant, lines: Collection[str], notes: list[str]) -> Plant:
    """The plant with some of its lines alone; with all where none is named. Rolls that are on the others'
    unwinds stay there; dies and cylinders on those are taken to be free.
    """
    others = [line for line in plant.lines if lines and line.id not in lines]
    if not others:
        return plant
    away = {line.id for line in others}
    for line in others:
        if any(loaded.die or loaded.cylinder for loaded in line.present.loaded.values()):
            notes.append(f"{line.id} is not planned: dies and cylinders on it are taken to be free.")
    return plant.model_copy(
        update={
            "lines": tuple(line for line in plant.lines if line.id not in away),
            "substrates": tuple(_without_rolls_on(substrate, away, notes) for substrate in plant.substrates),
        }
    )


def _without_rolls_on(substrate: Substrate, lines: Collection[str], notes: list[str]) -> Substrate:
    if all(roll.on_unwind not in lines for stocked in substrate.widths for roll in stocked.rolls):
        return substrate
    notes += (
        f"Roll {roll.id} of {substrate.code} is on the unwind of {roll.on_unwind}, which is not planned, and "
        "is not taken."
        for stocked in substrate.widths
        for roll in stocked.rolls
        if roll.on_unwind in lines
    )
    return substrate.model_copy(
        update={"widths": tuple(_width_without_rolls_on(stocked, lines) for stocked in substrate.widths)}
    )


def _width_without_rolls_on(stocked: StockedWidth, lines: Collection[str]) -> StockedWidth:
    rolls = tuple(roll for roll in stocked.rolls if roll.on_unwind not in lines)
    if rolls == stocked.rolls:
        return stocked
    # a width without rolls and without metres would be one of which there is always enough
    return stocked.model_copy(update={"rolls": rolls, "on_hand_m": stocked.on_hand_m if rolls else ZERO})


def _line_faults(asked: NewPlanningRequest, plant: Plant) -> Iterator[Fault]:
    known = [line.id for line in plant.lines]
    for idx, line in enumerate(asked.lines):
        if line not in known:
            yield Fault(unknown("line", line, known), field=f"lines[{idx}]", value=line)
    if not known:
        yield Fault("should be asked for once the plant has a line", field="lines")


def _job_faults(view: View, asked: NewPlanningRequest) -> Iterator[Fault]:
    """Jobs that are named and not stored, or not to run."""
    statuses = job_lookup.statuses(view, asked.jobs) if asked.jobs else {}
    for idx, job in enumerate(asked.jobs):
        status = statuses.get(job)
        if status is None:
            yield Fault("should be a job that is stored", field=f"jobs[{idx}]", value=job)
        elif status is not JobStatus.OPEN:
            yield Fault(f"should be a job that is open; it is {status}", field=f"jobs[{idx}]", value=job)


def _jobs(view: View, asked: NewPlanningRequest, kept: KeptRuns, notes: list[str]) -> tuple[PostedJob, ...]:
    """The jobs that are asked for, without those that have been made, unless they are named; and those that
    run already: their lines are not free before they end.

    Raises
    ------
    BadInput
        Where there are too many.
    """
    if asked.jobs:
        found = job_lookup.by_number(view, asked.jobs)
    elif asked.which is not None:
        found = job_lookup.open_jobs_meant(view, MOST_JOBS + 1, asked.which)
    else:
        found = job_lookup.open_jobs(view, MOST_JOBS + 1)
    if len(found) > MOST_JOBS:
        right = f"name the jobs, or say which: more than {MOST_JOBS} are open"
        raise BadInput([Fault(right, field="jobs" if asked.which is None else "which")])
    made = [job.job for job in found if job.job in kept.made and job.job not in asked.jobs]
    notes += (
        f"{job} has been made as it was released, so it is not in the plan, though open." for job in made
    )
    found = tuple(job for job in found if job.job not in made)
    names = {job.job for job in found}
    running = [lock.job for lock in kept.locks if isinstance(lock, StartedLock) and lock.job not in names]
    notes += (f"{job} is running, so it is in the plan too." for job in running)
    return (*found, *job_lookup.by_number(view, running)) if running else found


def _lock_faults(locks: Sequence[Lock], queue: QueueNow) -> Iterator[Fault]:
    """What is wrong with locks: jobs and lines that the plan has not, jobs that cannot run yet."""
    names = {job.job for job in queue.jobs}
    for idx, lock in enumerate(locks):
        yield from lock_faults(f"locks[{idx}]", lock, queue.question.plant, names)
        for field, job in jobs_of(lock):
            if job in queue.waiting:
                right = f"should be a job that can run; it waits: {'; '.join(queue.waiting[job])}"
                yield Fault(right, field=f"locks[{idx}].{field}", value=job)


def _kept_locks(kept: KeptRuns, asked: Sequence[Lock], queue: QueueNow, notes: list[str]) -> Iterator[Lock]:
    """What is kept of released sequences, as far as its jobs and lines are planned, and nobody has said
    otherwise. Runs that keep their place are the first of their line: those that fall away leave no gap.
    """
    planned = {job.job for job in queue.question.jobs}
    lines = {line.id for line in queue.question.plant.lines}
    line_of = {lock.job: lock.line for lock in kept.locks if isinstance(lock, LineLock | StartedLock)}
    kept_on = {job: line for job, line in line_of.items() if job in planned and line in lines}
    said = {job for lock in asked for _, job in jobs_of(lock)} & kept_on.keys()
    notes += (f"{job} is planned as the locks say, not as it is released." for job in sorted(said))
    placed: Counter[str] = Counter()
    for lock in sorted(kept.locks, key=_position):
        jobs = [job for _, job in jobs_of(lock)]
        if any(job not in kept_on or job in said for job in jobs):
            continue
        if isinstance(lock, PositionLock):
            line = kept_on[lock.job]
            placed[line] += 1
            yield lock.model_copy(update={"position": placed[line]})
        else:
            yield lock


def _position(lock: Lock) -> int:
    return lock.position if isinstance(lock, PositionLock) else 0


def _input(question: Question, asked: NewPlanningRequest) -> PlanningInput:
    return PlanningInput(
        plant=question.plant,
        jobs=tuple(question.jobs),
        start=question.start,
        locks=tuple(question.locks),
        in_force=question.in_force,
        goal=asked.goal,
        seconds=asked.search_s,
        work=asked.work,
        seed=asked.seed,
        alternatives=asked.alternatives,
        reasons=asked.reasons,
    )
