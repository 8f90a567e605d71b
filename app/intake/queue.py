"""A plant and its queue, read together so that all their faults are told at once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from app.contracts.assumptions import Assumption
from app.contracts.jobs import Job
from app.contracts.locks import Lock
from app.contracts.orders import RunOrder
from app.contracts.plant import Consumable, Plant
from app.errors import BadInput
from app.intake import consumables_file, dies_file, jobs_file, stock_rows
from app.intake.at_start import Beginning
from app.intake.bare_plant import BarePlant
from app.intake.consumables_file import read_consumables
from app.intake.defaults import Defaults
from app.intake.dies_file import DieList, read_dies
from app.intake.findings import Findings
from app.intake.jobs_file import read_jobs
from app.intake.mapping_file import NO_MAPPING, TableMapping, read_mapping
from app.intake.order_file import read_order
from app.intake.plant_file import read_plant
from app.intake.references import check_references
from app.intake.roll_checks import check_rolls_at_start, note_stock_rules
from app.intake.stock_file import read_stock
from app.intake.stock_now import with_stock_now

JOBS, DIES, STOCK, CONSUMABLES = "jobs", "dies", "stock", "consumables"
COLUMNS_BY_TABLE = {
    JOBS: jobs_file.COLUMNS.known,
    DIES: dies_file.COLUMNS.known,
    STOCK: stock_rows.COLUMNS.known,
    CONSUMABLES: consumables_file.COLUMNS.known,
}
"""Columns that a mapping file may name, by the name it gives their table."""


@dataclass(frozen=True, slots=True)
class Queue:
    """What was read. `notes` say what was assumed; `assumptions` hold values that no list gave; `locks` are
    what people have fixed about the order, `in_force` is the sequence that they work to so far.
    """

    plant: Plant
    jobs: tuple[Job, ...]
    notes: tuple[str, ...]
    assumptions: tuple[Assumption, ...] = ()
    locks: tuple[Lock, ...] = ()
    in_force: RunOrder | None = None


UNSAID = Beginning()
"""Of a plan whose start nobody has said."""


def read_queue(
    plant_path: Path,
    jobs_path: Path,
    mapping_path: Path | None = None,
    stock_path: Path | None = None,
    beginning: Beginning = UNSAID,
) -> Queue:
    """A plant and its jobs, the lists' headings ours or as a mapping file names them; a stock list says what
    is in the store in place of the plant.

    Raises
    ------
    BadInput
        With every fault of all files.
    """
    findings = Findings()
    plant = read_plant(plant_path, findings)
    mapping = _mappings(mapping_path, findings)
    if plant is not None and stock_path is not None:
        plant = with_stock_now(plant, stock_path, beginning, findings, mapping.get(STOCK, NO_MAPPING))
    elif plant is not None:
        check_rolls_at_start(beginning.on(plant), str(plant_path), findings)
    if plant is not None:
        note_stock_rules(plant, str(plant_path), findings)
    jobs = read_jobs(jobs_path, plant, findings, mapping.get(JOBS, NO_MAPPING))
    if findings.faults or plant is None:
        raise BadInput(findings.faults)
    return Queue(plant, jobs, tuple(findings.notes))


@dataclass(frozen=True, slots=True)
class BarePaths:
    """The lists a shop has: jobs, dies, stock, and perhaps consumables and a mapping of its headings."""

    jobs: Path
    dies: Path
    stock: Path
    mapping: Path | None = None
    consumables: Path | None = None


def read_bare_queue(
    preset: Plant, paths: BarePaths, defaults: Defaults, beginning: Beginning = UNSAID
) -> Queue:
    """A preset's lines with a shop's own dies, stocks and jobs; what no list says comes from `defaults`.

    Substrates, dies and cylinders are those of the lists alone; consumables are the preset's, those of a
    list, whose word counts, and those that jobs name beside them.

    Raises
    ------
    BadInput
        With every fault of all files.
    """
    findings = Findings()
    mapping = _mappings(paths.mapping, findings)
    dies = read_dies(paths.dies, defaults, findings, mapping.get(DIES, NO_MAPPING))
    at_start = beginning.on(preset)
    stock = read_stock(paths.stock, defaults, findings, mapping.get(STOCK, NO_MAPPING), at_start)
    listed = _listed_consumables(paths, findings, mapping)
    bare = BarePlant(preset, dies or DieList((), ()), stock or (), listed)
    unchecked = {"consumable"}
    unchecked |= set() if dies else {"die"}
    unchecked |= set() if stock else {"substrate"}
    jobs = read_jobs(
        paths.jobs, bare.plant(), findings, mapping.get(JOBS, NO_MAPPING), unchecked=frozenset(unchecked)
    )
    if findings.faults:
        raise BadInput(findings.faults)
    made = bare.consumables_of(jobs, defaults)
    plant = bare.plant(made)
    check_references(plant, "preset", findings)
    if findings.faults:
        raise BadInput(findings.faults)
    return Queue(plant, jobs, tuple(findings.notes), tuple(bare.assumptions(made)))


def _listed_consumables(
    paths: BarePaths, findings: Findings, mapping: dict[str, TableMapping]
) -> tuple[Consumable, ...]:
    if paths.consumables is None:
        return ()
    return read_consumables(paths.consumables, findings, mapping.get(CONSUMABLES, NO_MAPPING)) or ()


def _mappings(path: Path | None, findings: Findings) -> dict[str, TableMapping]:
    return {} if path is None else read_mapping(path, COLUMNS_BY_TABLE, findings)


def read_queue_and_order(
    plant_path: Path, jobs_path: Path, order_path: Path, beginning: Beginning = UNSAID
) -> tuple[Queue, RunOrder]:
    """A plant, its jobs, and an order of them.

    Raises
    ------
    BadInput
        With every fault of the three files.
    """
    findings = Findings()
    plant = read_plant(plant_path, findings)
    if plant is not None:
        check_rolls_at_start(beginning.on(plant), str(plant_path), findings)
        note_stock_rules(plant, str(plant_path), findings)
    jobs = read_jobs(jobs_path, plant, findings)
    order = read_order(order_path, plant, jobs, findings)
    if findings.faults or plant is None or order is None:
        raise BadInput(findings.faults)
    return Queue(plant, jobs, tuple(findings.notes)), order
