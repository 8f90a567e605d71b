"""What speaks against giving a kept sequence to the floor: what has changed since it was worked out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from app.contracts.base import Contract
from app.contracts.jobs import Job
from app.contracts.orders import overlap
from app.contracts.plant import Plant
from app.contracts.posted_jobs import JobStatus
from app.contracts.releases import Objection, ObjectionKind, ReleasedRun
from app.services.planning_snapshot import only_lines
from app.services.queue_now import laid, plant_at
from app.services.sequences import state_of
from app.services.workshop import Workshop
from app.store import job_lookup, releases, runs_made
from app.store.runs_made import RunMade
from app.store.sequences import KeptRun, Origin
from app.store.store import View

_PARTS: Mapping[str, tuple[str, str]] = {
    "lines": ("line", "id"),
    "substrates": ("label stock", "code"),
    "dies": ("die", "id"),
    "cylinders": ("cylinder", "id"),
    "consumables": ("consumable", "id"),
}
"""Parts of a plant that have names: what one is called, and its name."""


def objections(
    shop: Workshop, view: View, origin: Origin, runs: Sequence[KeptRun], lines: Sequence[str]
) -> tuple[Objection, ...]:
    """What speaks against a release of a sequence on some of its lines; none: nothing does.

    Plant and stock count as a whole; of jobs only those that run on these lines. What was sent again as it
    was is no change.

    Parameters
    ----------
    runs
        All runs of the sequence.
    lines
        The lines that are to run it.
    """
    return tuple(_Look(shop, view, origin, runs, lines).found())


@dataclass(frozen=True)
class _Look:
    shop: Workshop
    view: View
    origin: Origin
    all_runs: Sequence[KeptRun]
    lines: Sequence[str]

    def found(self) -> Iterator[Objection]:
        versions = job_lookup.versions(self.view, [job.job for job in self.origin.input.jobs])
        statuses = job_lookup.statuses(self.view, list(self.jobs))
        plant = self.shop.plants.of(self.view)
        stored: dict[str, Job] = {}
        if state_of(plant.setup_version, versions) != self.origin.state:
            yield from self._plant(plant.plant)
            stored = {job.job: laid(job) for job in job_lookup.by_number(self.view, list(self.jobs))}
        for job in self.jobs:
            if job not in statuses:
                yield self._of(job, ObjectionKind.JOB_REMOVED, "is not stored any more")
                continue
            yield from self._status(job, statuses[job])
            if job in stored:
                yield from self._content(job, stored[job])
        yield from self._made()
        yield from self._elsewhere()

    @cached_property
    def jobs(self) -> dict[str, tuple[str, ...]]:
        """Jobs that run on the lines, and on which of them."""
        found: dict[str, dict[str, None]] = {}
        for run in self._runs:
            found.setdefault(run.job, {})[run.line] = None
        return {job: tuple(lines) for job, lines in found.items()}

    @cached_property
    def _runs(self) -> tuple[KeptRun, ...]:
        """What the lines are to run."""
        on = {line: place for place, line in enumerate(self.lines)}
        runs = [run for run in self.all_runs if run.line in on]
        return tuple(sorted(runs, key=lambda run: (on[run.line], run.position)))

    def _of(self, job: str, kind: ObjectionKind, told: str) -> Objection:
        return Objection(kind=kind, job=job, lines=self.jobs[job], told=f"{job} {told}")

    def _status(self, job: str, status: JobStatus) -> Iterator[Objection]:
        if status is JobStatus.CANCELLED:
            yield self._of(job, ObjectionKind.JOB_CANCELLED, "is cancelled")
        elif status is JobStatus.FINISHED:
            yield self._of(job, ObjectionKind.JOB_FINISHED, "is finished")

    def _content(self, name: str, now: Job) -> Iterator[Objection]:
        then = next(laid(job) for job in self.origin.input.jobs if job.job == name)
        changed = [field for field in Job.model_fields if getattr(then, field) != getattr(now, field)]
        if changed:
            yield self._of(name, ObjectionKind.JOB_CHANGED, f"was changed: {', '.join(changed)}")

    def _plant(self, now: Plant) -> Iterator[Objection]:
        """What of the plant is another than then: of the lines those that were planned for."""
        then, begins = self.origin.input.plant, self.origin.input.start
        now = plant_at(only_lines(now, [line.id for line in then.lines], []), begins, [])
        for field in Plant.model_fields:
            before, after = getattr(then, field), getattr(now, field)
            if before == after or field == "note":
                continue
            for told in _changed(field, before, after):
                yield Objection(kind=ObjectionKind.PLANT_CHANGED, told=told)

    def _made(self) -> Iterator[Objection]:
        """Jobs that have run since, though the plan had still to begin them."""
        begins = self.origin.input.start
        to_begin = {run.job: run for run in reversed(self._runs) if run.changeover_start >= begins}
        made = runs_made.of_jobs(self.view, list(to_begin))
        for job, runs in made.items():
            since = [run for run in runs if self._has_ended_since(run, to_begin[job])]
            if since:
                where = f"has run on {since[-1].line} since"
                yield self._of(job, ObjectionKind.JOB_HAS_RUN, where)

    def _has_ended_since(self, made: RunMade, planned: KeptRun) -> bool:
        since = made.ended is not None and made.told_at > self.origin.kept_at
        return since and overlap(made.lot, planned.lot)

    def _elsewhere(self) -> Iterator[Objection]:
        """Jobs that are to run on another line too, by what is current there and stays so."""
        released = releases.of_jobs(self.view, list(self.jobs))
        for run in self._runs:
            for other in released.get(run.job, ()):
                if other.line not in self.lines and overlap(run.lot, other.lot):
                    yield self._twice(run, other)

    def _twice(self, run: KeptRun, other: ReleasedRun) -> Objection:
        told = (
            f"is run {other.position} of {other.line} too, by release {other.release}: name {other.line} "
            "among the lines as well, or withdraw that release from it"
        )
        return self._of(run.job, ObjectionKind.ON_ANOTHER_LINE, told)


def _changed(field: str, before: object, after: object) -> Iterator[str]:
    """What of a part of the plant is another, in words."""
    if field not in _PARTS:
        yield f"{field} of the plant was changed"
        return
    what, name = _PARTS[field]
    then, now = _named(before, name), _named(after, name)
    for each in dict.fromkeys((*then, *now)):
        if each not in now:
            yield f"{what} {each} is not there any more"
        elif each not in then:
            yield f"{what} {each} is new"
        elif then[each] != now[each]:
            yield f"{what} {each} was changed"
    if list(then) != list(now) and set(then) == set(now) and field == "lines":
        yield "the order of the lines was changed"


def _named(parts: object, name: str) -> dict[str, Contract]:
    if not isinstance(parts, Iterable):
        raise TypeError("parts of a plant come in tuples")
    return {getattr(part, name): part for part in parts}
