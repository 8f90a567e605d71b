"""What of the current releases has been made, is being made, and is still to be made, as actuals tell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from app.contracts.orders import LabelRange, overlap
from app.contracts.posted_jobs import JobStatus
from app.contracts.releases import ReleasedRun
from app.store import job_lookup, releases, runs_made
from app.store.releases import CurrentRelease
from app.store.runs_made import RunMade
from app.store.store import View

MOST_LOTS = 3
"""Lots of a job that a sequence in force may have."""


@dataclass(frozen=True, slots=True)
class JobRun:
    """A run of a job in a current release."""

    job: str
    run: ReleasedRun

    @property
    def name(self) -> str:
        """The job, and which labels of it where it runs in lots."""
        return f"{self.job}{_labels(self.run.lot)}"


@dataclass(frozen=True, slots=True)
class Running:
    """A run that has begun on a line and not ended.

    Parameters
    ----------
    released
        What is released of it, there or on another line; None where nothing is.
    """

    made: RunMade
    released: JobRun | None


@dataclass(frozen=True, slots=True)
class WorkLeft:
    """What the lines have still to do.

    Parameters
    ----------
    to_make
        By line, runs of open jobs that have not begun, in the order of the release.
    running
        By line, what is being made.
    made
        Open jobs of which all released runs have ended.
    notes
        What actuals do not tell clearly, and how it was taken, for people.
    """

    to_make: Mapping[str, tuple[JobRun, ...]]
    running: Mapping[str, Running]
    made: tuple[str, ...]
    notes: tuple[str, ...]


def work_left(view: View, lines: Sequence[str]) -> WorkLeft:
    """What lines have still to do of their current releases, and what else runs on them."""
    return _Look(view, lines).found()


def _labels(lot: LabelRange | None) -> str:
    return "" if lot is None else f", labels {lot.first_label} to {lot.last_label},"


@dataclass
class _Look:
    view: View
    lines: Sequence[str]
    notes: list[str] = field(default_factory=list)

    def found(self) -> WorkLeft:
        last = runs_made.last_of_lines(self.view, self.lines)
        on_line = {line: made for line, made in last.items() if made.ended is None}
        begun = self._begun(on_line)
        by_made = {made: run for run, made in begun.items()}
        running = {line: Running(made, by_made.get(made)) for line, made in on_line.items()}
        statuses = job_lookup.statuses(self.view, sorted(self._of_job))
        is_open = {job for job, status in statuses.items() if status is JobStatus.OPEN}
        left = [run for run in self._runs if run not in begun and run.job in is_open]
        to_make = set(self._once(left))
        not_made = {run.job for run in left} | {made.job for made in on_line.values()}
        return WorkLeft(
            to_make={
                line: tuple(run for run in self._runs if run in to_make and run.run.line == line)
                for line in self.lines
            },
            running=running,
            made=tuple(sorted(is_open - not_made)),
            notes=tuple(self.notes),
        )

    @cached_property
    def _runs(self) -> tuple[JobRun, ...]:
        """Runs of the current releases of all lines that the plant has, line by line in order."""
        released = releases.of_lines(self.view)
        return tuple(JobRun(job, run) for line in self.lines for job, run in released.get(line, ()))

    @cached_property
    def _releases(self) -> dict[str, CurrentRelease]:
        return {current.line: current for current in releases.current(self.view)}

    @cached_property
    def _of_job(self) -> dict[str, list[JobRun]]:
        found: dict[str, list[JobRun]] = {}
        for run in self._runs:
            found.setdefault(run.job, []).append(run)
        return found

    def _begun(self, on_line: Mapping[str, RunMade]) -> dict[JobRun, RunMade]:
        """Released runs that have begun, with what has been told of them."""
        running = set(on_line.values())
        begun: dict[JobRun, RunMade] = {}
        for job, told in runs_made.of_jobs(self.view, sorted(self._of_job)).items():
            for made in told:
                for run in self._told_of(made, self._of_job[job], begun, made in running):
                    begun[run] = made
                    if made.ended is None and made not in running:
                        self.notes.append(
                            f"{job} has begun on {made.line} and never ended, but something else has begun "
                            "there since: it is taken to have ended."
                        )
        return begun

    def _told_of(
        self, made: RunMade, runs: Iterable[JobRun], begun: Mapping[JobRun, RunMade], is_running: bool
    ) -> Iterator[JobRun]:
        """The runs that an actual tells of: one, or all lots that it holds."""
        free = [run for run in runs if run not in begun and (is_running or self._is_since(made, run.run))]
        free.sort(key=lambda run: run.run.line != made.line)
        whole = [run for run in free if made.lot is None or (run.run.lot is None and is_running)]
        if whole:
            yield whole[0]
            return
        lot = made.lot
        for run in free:
            if lot is not None and _holds(lot, run.run.lot):
                yield run
            elif overlap(lot, run.run.lot):
                self.notes.append(
                    f"{made.job}{_labels(lot)} has run on {made.line}: its run on {run.run.line} is still to "
                    "be made, with all its labels."
                )

    def _is_since(self, made: RunMade, run: ReleasedRun) -> bool:
        """Whether an actual can be one of a released run, and not of one before: it was told after the
        sequence was kept, or began in the time of its plan. What ran already when that was made is in the
        plan with its own time.
        """
        release = self._releases[run.line]
        return made.told_at > release.kept_at or made.started >= min(release.start, run.print_start)

    def _once(self, left: Sequence[JobRun]) -> Iterator[JobRun]:
        """Runs that make no label twice: where releases have the same labels the latest counts."""
        kept: dict[str, list[JobRun]] = {}
        for run in sorted(left, key=lambda run: -self._releases[run.run.line].number):
            others = kept.setdefault(run.job, [])
            if len(others) == MOST_LOTS or any(overlap(run.run.lot, other.run.lot) for other in others):
                self.notes.append(
                    f"{run.name} is released on {run.run.line} too, by an older release: that is passed over."
                )
                continue
            others.append(run)
            yield run


def _holds(lot: LabelRange, part: LabelRange | None) -> bool:
    return part is not None and lot.first_label <= part.first_label and part.last_label <= lot.last_label
