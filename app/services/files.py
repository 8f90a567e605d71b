"""Lists and plants that come and go as files: the same readers and writers as those of the command line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeVar, cast

from app.contracts.base import Contract, at_site
from app.contracts.offsets import on_clock
from app.contracts.plant import Die
from app.contracts.posted_jobs import PostedJob
from app.contracts.taken_files import FileTaken
from app.contracts.tooling_items import PostedCylinder, PostedDie
from app.documents.list_files import dies_list, jobs_list, stock_list
from app.errors import BadInput, Fault
from app.intake.at_start import Beginning
from app.intake.dies_file import read_dies
from app.intake.filled import Filled
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.intake.plant_file import read_plant
from app.intake.presets.usual_values import UsualValues
from app.intake.stock_now import with_stock_now
from app.services import jobs as job_service
from app.services import records as things
from app.services.workshop import Workshop
from app.store import job_lookup, plants
from app.store.audit import Action
from app.store.kinds import CYLINDERS, DIES
from app.store.store import View, Work

PostedItem = TypeVar("PostedItem", bound=Contract)

MOST_LISTED = 20_000
"""Jobs of a list that is written."""


@dataclass(frozen=True, slots=True)
class JobsRead:
    """A job list that was read, and what was assumed in reading it. What the plant does not know yet is
    noted, not refused.
    """

    jobs: tuple[PostedJob, ...]
    notes: tuple[str, ...]


def read_jobs_list(shop: Workshop, view: View, name: str, content: bytes) -> JobsRead:
    """Read a job list. That takes a while where it is long, in which others may write.

    Raises
    ------
    BadInput
        With every fault of the file, by row and column.
    """
    known = shop.plants.of(view)
    lenient = frozenset(("substrate", "die", "consumable"))
    with _file(name, content) as (path, findings):
        found = read_jobs(path, known.plant, findings, unchecked=lenient)
    zone = known.plant.site.zone_info
    posted = tuple(
        _as(
            PostedJob,
            job,
            due=job.due and at_site(job.due, zone),
            ready=job.ready and at_site(job.ready, zone),
        )
        for job in found
    )
    waiting = (f"{job.job} waits: {'; '.join(why)}." for job in found if (why := known.codes.missing_of(job)))
    return JobsRead(posted, (*findings.notes, *waiting))


def take_jobs(shop: Workshop, work: Work, read: JobsRead) -> FileTaken:
    """Take a job list: all of it or nothing.

    Raises
    ------
    BadInput
        Where a job contradicts itself.
    """
    taken = job_service.take(shop, work, read.jobs, each=False)
    touched = (f"{one.key}: {'; '.join(one.affects)}." for one in taken.outcomes if one.affects)
    done = _taken(work, (*read.notes, *touched))
    return done.model_copy(update={"jobs": tuple(job.job for job in read.jobs)})


def take_dies(shop: Workshop, work: Work, name: str, content: bytes) -> FileTaken:
    """Take a die list with the cylinders it names: all of it or nothing. Dies it does not name stay.

    Raises
    ------
    BadInput
        With every fault of the file, by row and column.
    """
    with _file(name, content) as (path, findings):
        listed = read_dies(path, UsualValues(), findings)
    if listed is None:
        raise RuntimeError("a die list without faults has dies")
    cylinders = [_as(PostedCylinder, filled.value) for filled in listed.cylinders]
    dies = [_as(PostedDie, filled.value) for filled in listed.dies]
    things.take(shop, work, CYLINDERS, cylinders, each=False)
    things.take(shop, work, DIES, dies, each=False)
    return _taken(work, (*findings.notes, *_assumed(listed.dies)))


def take_stock(shop: Workshop, work: Work, name: str, content: bytes) -> FileTaken:
    """Take what is in the store now: the list is whole, a width or a roll that it does not name is used up.

    Raises
    ------
    BadInput
        With every fault of the file, by row and column.
    """
    known = shop.plants.of(work).plant
    with _file(name, content) as (path, findings):
        stocked = with_stock_now(known, path, Beginning(now=shop.now()), findings)
    plants.put(work, stocked)
    return _taken(work, findings.notes)


def take_plant(work: Work, name: str, content: bytes) -> FileTaken:
    """Take a plant file in place of all that is stored of the plant but its jobs.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    with _file(name, content) as (path, findings):
        plant = read_plant(path, findings)
    if plant is None:
        raise RuntimeError("a plant file without faults is a plant")
    plants.put(work, on_clock(plant, plant.site.zone_info))
    return _taken(work, findings.notes)


def plant_file(shop: Workshop, view: View) -> bytes:
    """The plant as a plant file."""
    plant = shop.plants.of(view).plant
    return plant.model_dump_json(by_alias=True, exclude_none=True, indent=2).encode()


def jobs_file(view: View) -> str:
    """The open jobs as a list.

    Raises
    ------
    BadInput
        Where there are too many for a list.
    """
    found = job_lookup.open_jobs(view, MOST_LISTED + 1)
    if len(found) > MOST_LISTED:
        raise BadInput([Fault(f"more than {MOST_LISTED} jobs are open: list them page by page")])
    return jobs_list(found)


def dies_file(shop: Workshop, view: View) -> str:
    """The dies as a list."""
    plant = shop.plants.of(view).plant
    return dies_list(plant.dies, plant.cylinders)


def stock_file(shop: Workshop, view: View) -> str:
    """What is in the store as a list."""
    return stock_list(shop.plants.of(view).plant.substrates)


@contextmanager
def _file(name: str, content: bytes) -> Iterator[tuple[Path, Findings]]:
    """What was sent as a file for as long as it is read; faults call it by its name alone.

    Raises
    ------
    BadInput
        With every fault that was found.
    """
    findings = Findings()
    with TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        yield path, findings
    findings.notes = [note.replace(str(path), name) for note in findings.notes]
    if findings.faults:
        raise BadInput(
            replace(fault, file=name, right=fault.right.replace(str(path), name)) for fault in findings.faults
        )


def _as(posted: type[PostedItem], item: Contract, **changed: object) -> PostedItem:
    """A thing of a file, which has been validated, as it is posted."""
    values: dict[str, Any] = {**item.__dict__, "revision": None, **changed}
    return cast("PostedItem", posted.model_construct(**values))


def _taken(work: Work, notes: Iterable[str]) -> FileTaken:
    """What the transaction has changed."""
    changes = work.changes
    return FileTaken(
        created=changes[Action.CREATED],
        updated=changes[Action.UPDATED],
        removed=changes[Action.REMOVED],
        notes=tuple(notes),
    )


def _assumed(dies: Iterable[Filled[Die]]) -> Iterator[str]:
    for filled in dies:
        for field, reason in filled.reasons.items():
            yield f"Die {filled.value.id}, {field} {getattr(filled.value, field)}: {reason}"
