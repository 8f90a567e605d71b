"""A plant with two lines that are alike, jobs that both can run, releases of orders made by hand, actuals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

from app.contracts.actuals import PostedActual
from app.contracts.orders import LabelRange, LineOrder, OrderedRun, RunOrder
from app.contracts.planning_requests import Keeping
from app.contracts.plant import Plant
from app.contracts.posted_jobs import JobStatus, PostedJob, StatusChange
from app.contracts.releases import NewRelease
from app.contracts.sequences import CostedPlan, Goal
from app.contracts.stored_sequences import SequenceInput
from app.services import planning, releases
from app.services.planning_snapshot import only_lines
from app.services.queue_now import laid, plant_at
from app.services.replanning import Kept, kept_of
from app.services.sequences import state_of
from app.services.workshop import Workshop
from app.store import job_lookup, jobs, plants, records, sequences
from app.store.kinds import ACTUALS, JOBS
from app.store.store import Actor, Store, Work
from app.translation.solving import Question
from tests.app.queues import sample_plant

START = datetime(2027, 3, 1, 5, tzinfo=UTC)
"""Six o'clock at the site."""
PLANT, ANN = "main", Actor("Ann", "main")
JOBS_THERE = ("A", "B", "C", "D", "E", "F")
SPLIT = "S"
"""A job that may run in lots."""


@cache
def two_lines() -> Plant:
    """The sample's plant with another line like its hybrid one, and enough of every stock and tool."""
    plant = sample_plant()
    plant["lines"] = [plant["lines"][0], {**plant["lines"][0], "id": "H2"}]
    for die in plant["dies"]:
        die.pop("copies", None)
    for cylinder in plant.get("cylinders", ()):
        cylinder.pop("copies", None)
    for substrate in plant["substrates"]:
        substrate["widths"] = [{"width_mm": width["width_mm"]} for width in substrate["widths"]]
    return Plant.model_validate(plant)


def job(number: str, **other: Any) -> PostedJob:
    """A job of some quarters of an hour."""
    fields: dict[str, Any] = {
        "job": number,
        "substrate": "PAPER-80" if number < "D" else "PP-W60",
        "die": "D-101",
        "colours": ["C", "M", "Y", "K"],
        "due": "2027-03-02T12:00:00+01:00",
        "versions": [{"version": "V", "quantity": 20000}],
    }
    return PostedJob.model_validate({**fields, **other})


def all_jobs() -> list[PostedJob]:
    """Six jobs, and one that may run in lots."""
    return [*map(job, JOBS_THERE), job(SPLIT, least_lot=5000)]


def create(store: Store) -> None:
    """The plant and its jobs in an empty store."""
    with store.writing(Actor("Ann")) as work:
        plants.create(work, PLANT, two_lines())
    with store.writing(ANN) as work:
        records.upsert(work, JOBS, all_jobs())


Lot = tuple[str, int, int]
"""A job and labels of it."""

Lines = Mapping[str, tuple[str | Lot, ...]]
"""What every line is to run, whole jobs and lots."""


@dataclass
class Floor:
    """The plant in a transaction.

    Parameters
    ----------
    numbers
        Sequences that were kept so far.
    """

    shop: Workshop
    work: Work
    numbers: int = 0

    def keep(self, lines: Lines, start: datetime = START, planned: Sequence[str] = ()) -> str:
        """Keep an order of runs by line, on some of the plant's lines or all, as a sequence; its id."""
        order = RunOrder(
            lines=tuple(LineOrder(line=line, runs=tuple(map(ordered, runs))) for line, runs in lines.items())
        )
        plant = self.shop.plants.of(self.work)
        found = tuple(map(laid, job_lookup.by_number(self.work, order.job_names)))
        of_lines = plant_at(only_lines(plant.plant, planned, []), start, [])
        plan = planning.cost(Question(of_lines, found, start), order, Goal.BALANCED)
        state = state_of(plant.setup_version, job_lookup.versions(self.work, order.job_names))
        self.numbers += 1
        number = f"S-{self.numbers}"
        source = SequenceInput(plant=of_lines, jobs=found, start=start, locks=())
        sequences.keep(self.work, number, number, plan, source, state)
        return number

    def release(self, lines: Lines, start: datetime = START) -> str:
        """Keep an order and release it on its lines, whatever speaks against that; the sequence's id."""
        sequence = self.keep(lines, start)
        new = NewRelease(sequence=sequence, lines=tuple(lines), note="so", despite_changes=True)
        origin = releases.asked_for(self.work, new)
        releases.release(self.shop, self.work, new, origin)
        return sequence

    def begins(self, job: str, line: str, minute: int, ended: int | None = None, **other: Any) -> None:
        """A run begins so many minutes after the plan's start, and ends."""
        actual = PostedActual(
            id=f"{job} on {line} at {minute}",
            line=line,
            job=job,
            started=at(minute),
            ended=None if ended is None else at(ended),
            **other,
        )
        records.upsert(self.work, ACTUALS, [actual])

    def close(self, job: str, status: JobStatus) -> None:
        jobs.change_status(self.work, job, StatusChange(status=status))

    def kept(self, minute: int = 0, frozen_min: int = 0) -> Kept:
        """What a plan keeps that begins so many minutes later."""
        return kept_of(self.shop, self.work, Keeping(frozen_min=frozen_min), at(minute))

    def plan(self, sequence: str) -> CostedPlan:
        """A sequence that was kept."""
        return sequences.read(self.work, sequence).plan


def at(minute: int) -> datetime:
    """So many minutes after the plan's start."""
    return START + timedelta(minutes=minute)


def ordered(run: str | Lot) -> OrderedRun:
    if isinstance(run, str):
        return OrderedRun(job=run)
    name, first, last = run
    return OrderedRun(job=name, lot=LabelRange(first_label=first, last_label=last))


def in_force(kept: Kept) -> dict[str, list[str]]:
    """Jobs in force by line."""
    lines = () if kept.in_force is None else kept.in_force.lines
    return {line.line: [run.job for run in line.runs] for line in lines}


class _UndoneError(Exception):
    """Ends a transaction without a trace."""


@contextmanager
def undone(shop: Workshop) -> Iterator[Floor]:
    """The floor in a transaction of which nothing stays."""
    try:
        with shop.store.writing(ANN) as work:
            yield Floor(shop, work)
            raise _UndoneError
    except _UndoneError:
        pass
