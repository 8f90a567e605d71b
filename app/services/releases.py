"""Sequences given to the floor: released line by line, withdrawn, read by those who run them."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import timedelta
from typing import Final

from app.contracts.messages import JobAtRisk, JobRetimed, SequenceReleased
from app.contracts.posted_jobs import JobStatus
from app.contracts.releases import (
    LineRelease,
    NewRelease,
    Objection,
    ObjectionKind,
    Release,
    ReleasedRun,
    Withdrawal,
)
from app.contracts.run_sheets import LineRunSheets
from app.contracts.webhooks import EventType
from app.errors import BadInput, Conflict, Fault, NotStored
from app.services import sequences
from app.services.objections import objections
from app.services.workshop import Workshop
from app.store import job_lookup, jobs, releases, runs_made
from app.store import sequences as kept_sequences
from app.store.announcing import announce, wants
from app.store.releases import CurrentRelease
from app.store.sequences import KeptRun, Origin
from app.store.store import View, Work

TIGHT: Final = timedelta(minutes=60)
"""A job that is to end so shortly before its press due is at risk."""

Runs = tuple[ReleasedRun, ...]


def asked_for(view: View, new: NewRelease) -> Origin:
    """What the sequence of a release was worked out from. Reading it takes a while; others may write.

    Raises
    ------
    BadInput
        Where no such sequence is kept.
    """
    try:
        return kept_sequences.origin(view, new.sequence)
    except NotStored:
        raise _not_kept(new.sequence) from None


def release(shop: Workshop, work: Work, new: NewRelease, origin: Origin) -> Release:
    """Give a sequence to the floor: its lines run it from now on, whatever they were to run before.

    Raises
    ------
    BadInput
        Where it has no such lines, runs nothing, or is not kept any more.
    Conflict
        With all that has changed since it was worked out, where it is not to be released all the same.
    """
    runs = kept_sequences.runs_of(work, origin.pk)
    lines = _lines(new, origin, runs)
    planned = {run.job for run in runs if run.line in lines}
    releases.hold(work, new.sequence)
    if not kept_sequences.is_kept(work, origin):
        raise _not_kept(new.sequence)
    found = objections(shop, work, origin, runs, lines)
    if found and not new.despite_changes:
        raise _refused(found)
    with _told_of_jobs(work, planned | _released_on(work, lines)):
        made = releases.keep(work, releases.NewRelease(str(uuid.uuid4()), origin.pk, lines, new.note, found))
        announce(work, EventType.SEQUENCE_RELEASED, [_released(made, line).model_dump() for line in lines])
    return made


def withdraw(work: Work, release: str, asked: Withdrawal) -> Release:
    """Take a release from lines, which then have none.

    Raises
    ------
    NotStored
        Where there is no such release.
    BadInput
        Where it has no such lines.
    Conflict
        Where it is current on none of them.
    """
    releases.hold(work)
    found = releases.read(work, release)
    lines = _to_withdraw(found, asked.lines)
    with _told_of_jobs(work, _released_on(work, lines)):
        return releases.withdraw(work, release, lines, asked.note)


def current_of(view: View, line: str) -> CurrentRelease:
    """What a line is to run now, without its runs.

    Raises
    ------
    NotStored
        Where it has no release.
    """
    return releases.current_of(view, line)


def line_release(view: View, current: CurrentRelease) -> LineRelease:
    """What a line is to run now, and nothing of other lines."""
    despite = tuple(each for each in current.despite if _concerns(each, current.line))
    return LineRelease(
        release=current.release,
        sequence=current.sequence,
        note=current.note,
        despite=despite,
        released_at=current.released_at,
        released_by=current.released_by,
        runs=sequences.line_runs(view, current.sequence, current.line),
    )


def line_run_sheets(view: View, current: CurrentRelease) -> LineRunSheets:
    """What the crew of a line needs for its current release, shift by shift."""
    return sequences.line_run_sheets(view, current.sequence, current.line)


def _concerns(objection: Objection, line: str) -> bool:
    """Whether a line's crew is to know of it: of what other lines are to run they are not told."""
    if objection.kind is ObjectionKind.ON_ANOTHER_LINE:
        return False
    return not objection.lines or line in objection.lines


def _lines(new: NewRelease, origin: Origin, runs: Iterable[KeptRun]) -> tuple[str, ...]:
    """The lines that are to run it, in the plant's order."""
    known = [line.id for line in origin.input.plant.lines]
    running = {run.line for run in runs}
    unknown = [
        Fault(f"should be a line of the sequence: {', '.join(known)}", field=f"lines[{idx}]", value=line)
        for idx, line in enumerate(new.lines)
        if line not in known
    ]
    if unknown:
        raise BadInput(unknown)
    wanted = set(new.lines) or running
    if not wanted:
        right = "should be a sequence that runs something, or name the lines that are to run nothing"
        raise BadInput([Fault(right, field="sequence", value=new.sequence)])
    return tuple(line for line in known if line in wanted)


def _to_withdraw(found: Release, asked: Sequence[str]) -> tuple[str, ...]:
    has = {line.line for line in found.lines}
    unknown = [
        Fault("should be a line of the release", field=f"lines[{idx}]", value=line)
        for idx, line in enumerate(asked)
        if line not in has
    ]
    if unknown:
        raise BadInput(unknown)
    current = found.current_lines
    not_current = [line for line in asked if line not in current]
    if not current or not_current:
        where = ", ".join(not_current) or "any line"
        raise Conflict(f"The release is not current on {where}: there is nothing to withdraw.")
    return tuple(line for line in current if not asked or line in asked)


def _not_kept(sequence: str) -> BadInput:
    return BadInput([Fault("should be a sequence that is kept", field="sequence", value=sequence)])


def _refused(found: Iterable[Objection]) -> Conflict:
    faults = [
        Fault(each.told, field="sequence" if each.job is None else "job", value=each.job) for each in found
    ]
    return Conflict(
        "Something has changed since the sequence was worked out; see errors. Plan again, or release it with "
        "despite_changes.",
        faults,
    )


def _released_on(view: View, lines: Collection[str]) -> set[str]:
    """Jobs of the current releases of lines."""
    by_line = releases.of_lines(view)
    return {job for line in lines for job, _ in by_line.get(line, ())}


@contextmanager
def _told_of_jobs(work: Work, touched: Collection[str]) -> Iterator[None]:
    """Have jobs listed as changed whose releases are about to change, and tell webhooks which are to run
    elsewhere or at other times than they were, and which may be late.
    """
    names = sorted(touched)
    tells = wants(work, EventType.JOB_RETIMED, EventType.JOB_AT_RISK)
    before = releases.of_jobs(work, names) if tells else {}
    yield
    jobs.mark_changed(work, names)
    if not tells:
        return
    after = releases.of_jobs(work, names)
    to_run = _to_run(work, sorted({*before, *after}), after)
    retimed = [job for job in to_run if _times(before, job) != _times(after, job)]
    announce(work, EventType.JOB_RETIMED, [_retimed(job, before, after) for job in retimed])
    told = ((_at_risk(job, before), _at_risk(job, after)) for job in to_run)
    at_risk = [now.model_dump() for then, now in told if now is not None and now != then]
    announce(work, EventType.JOB_AT_RISK, at_risk)


def _to_run(view: View, names: Sequence[str], after: Mapping[str, Runs]) -> list[str]:
    """Open jobs, but for those that are not released any more because they have been made."""
    statuses = job_lookup.statuses(view, names)
    made = runs_made.of_jobs(view, [job for job in names if job not in after])
    ended = {job for job, runs in made.items() if all(run.ended is not None for run in runs)}
    return [job for job in names if statuses.get(job) is JobStatus.OPEN and job not in ended]


def _times(released: Mapping[str, Runs], job: str) -> set[tuple[object, ...]]:
    """Where and when a job is to run."""
    return {
        (run.line, run.lot, run.changeover_start, run.print_start, run.end) for run in released.get(job, ())
    }


def _released(made: Release, line: str) -> SequenceReleased:
    of_line = next(each for each in made.lines if each.line == line)
    told = ("sequence", "sequence_name", "note", "despite", "released_at", "released_by")
    return SequenceReleased(
        release=made.id,
        **{name: getattr(made, name) for name in told},
        line=line,
        runs=of_line.runs,
        first_start=of_line.first_start,
        last_end=of_line.last_end,
    )


def _retimed(job: str, before: Mapping[str, Runs], after: Mapping[str, Runs]) -> dict[str, object]:
    told = JobRetimed(job=job, released_before=before.get(job, ()), released_now=after.get(job, ()))
    return told.model_dump(by_alias=True)


def _at_risk(job: str, released: Mapping[str, Runs]) -> JobAtRisk | None:
    """A job that is to end after its press due, or shortly before; of a split one the last lot counts."""
    runs = released.get(job)
    if not runs:
        return None
    last = max(runs, key=lambda run: run.end)
    if last.press_due is None or last.press_due - last.end >= TIGHT:
        return None
    return JobAtRisk(
        job=job,
        late=last.end > last.press_due,
        line=last.line,
        lot=last.lot,
        changeover_start=last.changeover_start,
        print_start=last.print_start,
        end=last.end,
        press_due=last.press_due,
        late_min=last.late_min,
    )
