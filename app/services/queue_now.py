"""The queue as a plan can take it: what is stored, at the time the plan begins.

What is stored may name what the plant does not have yet, and rolls may be out of date by then. Such jobs
stand aside with their reasons, such rolls are not taken; nothing of it stops the others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.contracts.base import ZERO, at_site
from app.contracts.job_rules import KnownCodes, with_inkjet
from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant, Roll, StockedWidth, Substrate
from app.contracts.readiness import JobReadiness, Readiness
from app.intake.at_start import AtStart, Beginning
from app.intake.references import layer_kinds
from app.intake.roll_checks import start_faults
from app.services import planning
from app.translation.solving import Question


@dataclass(frozen=True, slots=True)
class QueueNow:
    """A queue that can be asked about, and what of the stored one is not in it.

    Parameters
    ----------
    jobs
        All jobs that were asked for, in their order.
    waiting
        Jobs that name what the plant does not have, and what that is.
    notes
        What else was left aside, for people.
    """

    question: Question
    jobs: tuple[Job, ...]
    waiting: dict[str, tuple[str, ...]]
    notes: tuple[str, ...]

    def readiness(self) -> Readiness:
        """What of the queue is not ready or cannot run, and why.

        Raises
        ------
        BadInput
            Where plant or jobs contradict themselves.
        """
        found = planning.check(self.question)
        by_job = {job.job: job for job in found.jobs}
        for job in self.jobs:
            if job.job in self.waiting:
                by_job[job.job] = self._waits(job, found.start)
        return found.model_copy(update={"jobs": tuple(by_job[job.job] for job in self.jobs)})

    def _waits(self, job: Job, start: datetime) -> JobReadiness:
        ready = None if job.ready is None else at_site(job.ready, self.question.plant.site.zone_info)
        return JobReadiness(
            job=job.job,
            lines=(),
            not_ready_until=ready if ready is not None and ready > start else None,
            overdue_since=None,
            left_out=self.waiting[job.job],
        )


def known_codes(plant: Plant) -> KnownCodes:
    """What the plant has that jobs name."""
    return KnownCodes(
        substrates=frozenset(substrate.code for substrate in plant.substrates),
        dies=frozenset(die.id for die in plant.dies),
        consumables=frozenset(consumable.id for consumable in plant.consumables),
        layer_kinds=frozenset(layer_kinds(plant)),
    )


def queue_now(
    plant: Plant,
    jobs: Sequence[Job],
    begins: datetime,
    locks: Sequence[Lock] = (),
    in_force: RunOrder | None = None,
) -> QueueNow:
    """The queue of a stored plant from a time on."""
    codes = known_codes(plant)
    missing = ((job.job, codes.missing_of(job)) for job in jobs)
    waiting = {job: reasons for job, reasons in missing if reasons}
    notes: list[str] = []
    stocked = plant_at(plant, begins, notes)
    ready = tuple(laid(job) for job in jobs if job.job not in waiting)
    return QueueNow(
        Question(stocked, ready, begins, tuple(locks), in_force), tuple(jobs), waiting, tuple(notes)
    )


def plant_at(plant: Plant, begins: datetime, notes: list[str]) -> Plant:
    """The plant without rolls that are out of date by then; none is on an unwind where it cannot be."""
    at_start = Beginning(begins, begins, {}).on(plant)
    substrates = tuple(_usable(substrate, at_start, notes) for substrate in plant.substrates)
    return plant if substrates == plant.substrates else plant.model_copy(update={"substrates": substrates})


def laid(job: Job) -> Job:
    """The job with its inkjet among its layers, first unless its place is marked."""
    finishes = with_inkjet(job.finishes, bool(job.colours))
    return job if finishes == job.finishes else job.model_copy(update={"finishes": finishes})


def _usable(substrate: Substrate, at_start: AtStart, notes: list[str]) -> Substrate:
    widths = tuple(_width(substrate.code, stocked, at_start, notes) for stocked in substrate.widths)
    return substrate if widths == substrate.widths else substrate.model_copy(update={"widths": widths})


def _width(code: str, stocked: StockedWidth, at_start: AtStart, notes: list[str]) -> StockedWidth:
    rolls = tuple(_rolls(code, stocked, at_start, notes))
    if rolls == stocked.rolls:
        return stocked
    # a width without rolls and without metres would be one of which there is always enough
    on_hand_m = stocked.on_hand_m if rolls else ZERO
    return stocked.model_copy(update={"rolls": rolls, "on_hand_m": on_hand_m})


def _rolls(code: str, stocked: StockedWidth, at_start: AtStart, notes: list[str]) -> Iterator[Roll]:
    for roll in stocked.rolls:
        wrong = {fault.field for fault in start_faults(roll, code, stocked.width_mm, at_start)}
        if "best_before" in wrong:
            notes.append(f"Roll {roll.id} of {code} is out of date when the plan begins and is not taken.")
        elif wrong:
            notes.append(f"Roll {roll.id} of {code} cannot be on the unwind of {roll.on_unwind} then.")
            yield roll.model_copy(update={"on_unwind": None})
        else:
            yield roll
