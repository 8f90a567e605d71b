"""A plant and its queue, read together so that all their faults are told at once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from app.contracts.jobs import Job
from app.contracts.orders import RunOrder
from app.contracts.plant import Plant
from app.errors import BadInput
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.intake.order_file import read_order
from app.intake.plant_file import read_plant


@dataclass(frozen=True, slots=True)
class Queue:
    """What was read. `notes` say what was assumed."""

    plant: Plant
    jobs: tuple[Job, ...]
    notes: tuple[str, ...]


def read_queue(plant_path: Path, jobs_path: Path) -> Queue:
    """A plant and its jobs.

    Raises
    ------
    BadInput
        With every fault of both files.
    """
    findings = Findings()
    plant = read_plant(plant_path, findings)
    jobs = read_jobs(jobs_path, plant, findings)
    if findings.faults or plant is None:
        raise BadInput(findings.faults)
    return Queue(plant, jobs, tuple(findings.notes))


def read_queue_and_order(plant_path: Path, jobs_path: Path, order_path: Path) -> tuple[Queue, RunOrder]:
    """A plant, its jobs, and an order of them.

    Raises
    ------
    BadInput
        With every fault of the three files.
    """
    findings = Findings()
    plant = read_plant(plant_path, findings)
    jobs = read_jobs(jobs_path, plant, findings)
    order = read_order(order_path, plant, jobs, findings)
    if findings.faults or plant is None or order is None:
        raise BadInput(findings.faults)
    return Queue(plant, jobs, tuple(findings.notes)), order
