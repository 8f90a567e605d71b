"""Jobs between their arrival and their end: changed, cancelled, looked at; what a change touches."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from app.contracts.base import at_site
from app.contracts.messages import JobAccepted, JobRefused
from app.contracts.posted_jobs import (
    JobChanged,
    JobDetail,
    ListedJob,
    PlannedRun,
    PostedJob,
    QuantityChange,
    StatusChange,
    StoredJob,
)
from app.contracts.readiness import JobReadiness, Readiness
from app.contracts.stored import BulkOutcome, Done, Outcome, Page, Stored
from app.contracts.webhooks import EventType
from app.errors import BadInput, Fault, NotStored
from app.services import records as things
from app.services.queue_now import QueueNow, queue_now
from app.services.records import Condition
from app.services.workshop import Workshop
from app.store import job_lookup, job_places, jobs, records, releases
from app.store.announcing import announce, wants
from app.store.kinds import JOBS
from app.store.listing import Query
from app.store.rows import as_it_was
from app.store.store import View, Work

MOST_ASKED = 5_000
"""Jobs whose readiness is looked at together."""

MOST_FAULTS_TOLD = 20
"""Of a refused job in a message, which should be short."""


def take(shop: Workshop, work: Work, items: Sequence[PostedJob], *, each: bool) -> BulkOutcome:
    """Take jobs; those that are planned or running already tell what a change touches.

    Webhooks hear of those that are new, and of those that were refused where others were taken. Of a post
    that is refused as a whole they hear nothing: nothing has happened, and its sender is told.

    Raises
    ------
    BadInput, OlderRevision
        As for anything posted.
    """
    taken = things.take(shop, work, JOBS, items, each=each)
    _announce(work, items, taken.outcomes)
    changed = [outcome.key for outcome in taken.outcomes if outcome.done is Done.UPDATED]
    touched = _touched(work, changed)
    if not touched:
        return taken
    outcomes = tuple(
        outcome.model_copy(update={"affects": touched[outcome.key]}) if outcome.key in touched else outcome
        for outcome in taken.outcomes
    )
    return taken.model_copy(update={"outcomes": outcomes})


def create(shop: Workshop, work: Work, job: PostedJob) -> Stored[PostedJob]:
    """Store a job that is not there yet.

    Raises
    ------
    BadInput, VersionConflict
        As for anything posted.
    """
    stored = things.create(shop, work, JOBS, job)
    announce(work, EventType.JOB_ACCEPTED, [_accepted(job)])
    return stored


def detail(view: View, job: str) -> JobDetail:
    """A job, where it is released, where it is planned and where it runs.

    Raises
    ------
    NotStored
        Where there is none.
    """
    stored = _stored(view, job)
    return JobDetail(
        item=stored.item,
        status=stored.status,
        version=stored.version,
        updated_at=stored.updated_at,
        released=releases.of_jobs(view, [job]).get(job, ()),
        planned=job_places.planned(view, [job]).get(job, ()),
        running_on=job_places.running(view, [job]).get(job, ()),
    )


def listed(view: View, query: Query) -> Page[ListedJob]:
    """A page of jobs, each with where it is to run.

    Raises
    ------
    BadInput
        Where there is no such filter or sort, or the cursor is none of this list.
    """
    page = records.listed(view, JOBS, query)
    released = releases.of_jobs(view, [stored.item.job for stored in page.items])
    items = tuple(
        as_it_was(ListedJob, {**stored.__dict__, "released": released.get(stored.item.job, ())})
        for stored in page.items
    )
    return Page[ListedJob].model_construct(items=items, next_cursor=page.next_cursor)


def put(shop: Workshop, work: Work, job: PostedJob, only_if: Condition) -> JobChanged:
    """Store a job in place of the version that its sender has read.

    Raises
    ------
    BadInput, OlderRevision
        As for anything posted.
    """
    touched = _touched(work, [job.job])
    before: list[int | None] = []

    def condition(version: int | None) -> int | None:
        before.append(version)
        return only_if(version)

    stored = things.put(shop, work, JOBS, job, condition)
    if before == [None]:
        announce(work, EventType.JOB_ACCEPTED, [_accepted(job)])
    return _changed(stored, touched)


def change_quantities(
    shop: Workshop, work: Work, job: str, change: QuantityChange, only_if: Condition
) -> JobChanged:
    """Other quantities of some versions; all else of the job stays.

    Raises
    ------
    NotStored
        Where there is no such job.
    BadInput
        Where it has no such version, or a maximum is below its quantity.
    """
    item = _stored(work, job).item
    places = {version.version: idx for idx, version in enumerate(item.versions)}
    versions = list(item.versions)
    faults: list[Fault] = []
    for idx, new in enumerate(change.versions):
        if new.version not in places:
            right = f"should be a version of the job: {', '.join(places)}"
            faults.append(Fault(right, field=f"versions[{idx}].version", value=new.version))
            continue
        before = versions[places[new.version]]
        most = before.max_quantity if new.max_quantity is None else new.max_quantity
        if new.max_quantity is None and most is not None and most < new.quantity:
            most = None
        versions[places[new.version]] = before.model_copy(
            update={"quantity": new.quantity, "max_quantity": most}
        )
    if faults:
        raise BadInput(faults)
    changed = item.model_copy(update={"versions": tuple(versions), "revision": change.revision})
    return put(shop, work, changed, only_if)


def change_status(work: Work, job: str, change: StatusChange, only_if: Condition) -> JobChanged:
    """Cancel a job, call it finished, or open it again.

    Raises
    ------
    NotStored
        Where there is no such job.
    """
    stored = _stored(work, job)
    touched = _touched(work, [job])
    return _changed(jobs.change_status(work, job, change, only_if(stored.version)), touched)


def queue(shop: Workshop, view: View, asked: Sequence[str], start: datetime | None) -> QueueNow:
    """The open jobs, or those that are named, from a time on.

    Raises
    ------
    BadInput
        Where a job is not stored, or there are too many.
    """
    plant = shop.plants.of(view).plant
    found = job_lookup.by_number(view, asked) if asked else job_lookup.open_jobs(view, MOST_ASKED + 1)
    stored = {job.job for job in found}
    missing = [name for name in asked if name not in stored]
    if missing:
        raise BadInput(Fault("should be a job that is stored", field="jobs", value=name) for name in missing)
    if len(found) > MOST_ASKED:
        raise BadInput([Fault(f"name the jobs: more than {MOST_ASKED} are open", field="jobs")])
    begins = at_site(plant.site.begins(start, shop.now()), plant.site.zone_info)
    return queue_now(plant, found, begins)


def readiness(shop: Workshop, view: View, asked: Sequence[str], start: datetime | None) -> Readiness:
    """What of the open jobs, or of those named, is not ready or cannot run, and why.

    Raises
    ------
    BadInput
        As for the queue.
    """
    return queue(shop, view, asked, start).readiness()


def job_readiness(shop: Workshop, view: View, job: str, start: datetime | None) -> JobReadiness:
    """The same of one job.

    Raises
    ------
    NotStored
        Where there is none.
    """
    _stored(view, job)
    return readiness(shop, view, [job], start).jobs[0]


def _announce(work: Work, items: Sequence[PostedJob], outcomes: Sequence[Outcome]) -> None:
    if not wants(work, EventType.JOB_ACCEPTED, EventType.JOB_REFUSED):
        return
    made = [item for item, one in zip(items, outcomes, strict=True) if one.done is Done.CREATED]
    announce(work, EventType.JOB_ACCEPTED, list(map(_accepted, made)))
    refused = [one for one in outcomes if one.done is Done.REFUSED]
    announce(work, EventType.JOB_REFUSED, list(map(_refused, refused)))


def _accepted(job: PostedJob) -> Mapping[str, object]:
    return JobAccepted(job=job.job, revision=job.revision, customer=job.customer, due=job.due).model_dump()


def _refused(outcome: Outcome) -> Mapping[str, object]:
    return JobRefused(job=outcome.key, errors=outcome.errors[:MOST_FAULTS_TOLD]).model_dump()


def _stored(view: View, job: str) -> StoredJob:
    stored = jobs.read(view, job)
    if stored is None:
        raise NotStored(JOBS.name, job)
    return stored


def _changed(stored: object, touched: Mapping[str, tuple[str, ...]]) -> JobChanged:
    if not isinstance(stored, StoredJob):
        raise TypeError("jobs are stored with their status")
    return JobChanged(job=stored, affects=touched.get(stored.item.job, ()))


def _touched(view: View, names: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """What is planned or running of jobs, in words; a job of which nothing is has no entry."""
    if not names:
        return {}
    running = job_places.running(view, names)
    planned = job_places.planned(view, names)
    words = {job: (*_running(running.get(job, ())), *_planned(planned.get(job, ()))) for job in names}
    return {job: told for job, told in words.items() if told}


def _running(lines: Iterable[str]) -> Iterable[str]:
    return (f"it is running on {line}" for line in lines)


def _planned(runs: Iterable[PlannedRun]) -> Iterable[str]:
    return (
        f"sequence {run.sequence} has it on {run.line}, run {run.position}, "
        f"from {run.print_start.isoformat(timespec='minutes')}"
        for run in runs
    )
