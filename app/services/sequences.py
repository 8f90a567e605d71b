"""Orders made by hand: costed, compared, kept as sequences, and what the floor makes of them."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from app.contracts.base import at_site
from app.contracts.costings import (
    Costing,
    LineToCost,
    LotNotToRun,
    NamedOrder,
    OrdersToCompare,
    OrderToCost,
    RunToCost,
)
from app.contracts.jobs import Job
from app.contracts.locks import Lock, jobs_of
from app.contracts.run_sheets import LineRunSheets
from app.contracts.sequences import CostedPlan, LineRuns
from app.contracts.stored import Stored
from app.contracts.stored_sequences import (
    NewSequence,
    SequenceHead,
    SequenceInput,
    StoredSequence,
)
from app.contracts.web_ledger import WebLedger
from app.documents import sequence_drawings
from app.errors import BadInput, Fault, NotStored
from app.intake.findings import Findings
from app.intake.order_file import check_order
from app.services import floor, planning
from app.services.costing import CostingSource
from app.services.queue_now import laid, plant_at
from app.services.workshop import PlantNow, Workshop
from app.store import job_lookup, sequences
from app.store.sequences import KeptSequence
from app.store.store import View, Work
from app.translation.floor import FloorOrder
from app.translation.reasons import order_of
from app.translation.solving import Question


def cost(shop: Workshop, view: View, asked: OrderToCost) -> bytes:
    """What an order comes to: a `CostedOrder` as JSON.

    Raises
    ------
    BadInput
        With every fault of the order, and jobs that the plant cannot run yet.
    """
    return shop.costings.cost(_source(shop, view, asked.jobs, asked), asked)


def compare(shop: Workshop, view: View, asked: OrdersToCompare) -> bytes:
    """Several orders side by side: a `ComparedOrders` as JSON.

    Raises
    ------
    BadInput
        With every fault of any of them.
    """
    kept = _named_orders(view, asked.sequences)
    asked = asked.model_copy(update={"orders": (*asked.orders, *kept), "sequences": ()})
    return shop.costings.compare(_source(shop, view, asked.jobs, asked), asked)


@dataclass(frozen=True, slots=True)
class NewPlan:
    """An order that is costed and not kept yet."""

    name: str
    plan: CostedPlan
    worked_from: SequenceInput
    state: str


def work_out(shop: Workshop, view: View, new: NewSequence) -> NewPlan:
    """Cost an order with the rolls that cost least for it. That takes a while, in which others may write.

    Raises
    ------
    BadInput
        With every fault of the order, and jobs that the plant cannot run yet.
    NothingCanRun
        Where no job of it can.
    """
    plant = shop.plants.of(view)
    names = sorted(new.jobs)
    versions = job_lookup.versions(view, names)
    found = _known_jobs(view, names, versions, plant)
    begins = at_site(plant.plant.site.begins(new.start, shop.now()), plant.plant.site.zone_info)
    question = Question(plant_at(plant.plant, begins, []), found, begins, new.locks)
    order = new.run_order
    findings = Findings()
    check_order(order, question.plant, question.jobs, None, findings)
    findings.faults += lock_faults(new.locks, names)
    if findings.faults:
        raise BadInput(findings.faults)
    return NewPlan(
        new.name,
        planning.cost(question, order, new.goal),
        SequenceInput(plant=question.plant, jobs=found, start=begins, locks=new.locks),
        state_of(plant.setup_version, versions),
    )


def keep(work: Work, new: NewPlan) -> Stored[SequenceHead]:
    """Keep a costed order as a sequence, under an id of its own."""
    return sequences.keep(work, str(uuid.uuid4()), new.name, new.plan, new.worked_from, new.state)


def read(shop: Workshop, view: View, sequence: str) -> StoredSequence:
    """A kept sequence, and whether it still is what it would be now.

    Raises
    ------
    NotStored
        Where there is none.
    """
    kept = sequences.read(view, sequence)
    names = [job.job for job in kept.input.jobs]
    state = state_of(shop.plants.of(view).setup_version, job_lookup.versions(view, names))
    return StoredSequence(
        item=kept.head.item,
        version=kept.head.version,
        updated_at=kept.head.updated_at,
        plan=kept.plan,
        out_of_date=state != kept.state,
    )


def ledger(view: View, sequence: str) -> WebLedger:
    """What becomes of every metre of web and of every roll of a kept sequence.

    Raises
    ------
    NotStored
        Where there is none.
    """
    return _papers(sequences.read(view, sequence)).ledger


def line_runs(view: View, sequence: str, line: str) -> LineRuns:
    """Runs and changeovers of one line of a kept sequence.

    Raises
    ------
    NotStored
        Where there is no such sequence, or no such line in it.
    """
    return _line_among(sequences.lines_of(view, sequence), sequence, line)


def line_run_sheets(view: View, sequence: str, line: str) -> LineRunSheets:
    """What the crew of a line needs for a kept sequence, shift by shift.

    Raises
    ------
    NotStored
        Where there is no such sequence, or no such line in it.
    """
    kept = sequences.read(view, sequence)
    _line_of(kept, sequence, line)
    sheets = _papers(kept).run_sheets
    return LineRunSheets(line=line, sheets=tuple(sheet for sheet in sheets if sheet.line == line))


def time_drawing(view: View, sequence: str, line: str | None = None) -> str:
    """What all lines of a kept sequence do when, or one of them, as SVG; raises as `line_runs` does."""
    kept = sequences.read(view, sequence)
    one = None if line is None else _line_of(kept, sequence, line)
    return sequence_drawings.time_drawing(kept.plan.sequence, one)


def web_drawing(view: View, sequence: str, line: str) -> str:
    """Every metre of a line's web in a kept sequence, as SVG; raises as `line_runs` does."""
    kept = sequences.read(view, sequence)
    return sequence_drawings.web_drawing(kept.plan.sequence, _line_of(kept, sequence, line))


def cost_drawing(view: View, sequence: str) -> str:
    """What a kept sequence costs by cause, beside the orders that nobody searched for, as SVG.

    Raises
    ------
    NotStored
        Where there is none.
    """
    return sequence_drawings.cost_drawing(sequences.read(view, sequence).plan)


def state_of(setup_version: int, versions: Mapping[str, int]) -> str:
    """What a plant and some jobs are now, so that a change can be told."""
    told = ";".join([str(setup_version), *(f"{job}={version}" for job, version in sorted(versions.items()))])
    return hashlib.sha256(told.encode()).hexdigest()


def lock_faults(locks: Iterable[Lock], known: Collection[str]) -> list[Fault]:
    """Jobs that locks speak of and the order does not."""
    return [
        Fault("should be a job of the order", field=f"locks[{idx}].{field}", value=job)
        for idx, lock in enumerate(locks)
        for field, job in jobs_of(lock)
        if job not in known
    ]


def _papers(kept: KeptSequence) -> FloorOrder:
    """What it means to the floor, from the plant and the jobs that it was worked out from."""
    asked = kept.input
    question = Question(asked.plant, asked.jobs, asked.start, asked.locks, asked.in_force)
    return floor.papers_of_plan(question, kept.plan)


def _line_of(kept: KeptSequence, sequence: str, line: str) -> LineRuns:
    return _line_among(kept.plan.sequence.lines, sequence, line)


def _line_among(lines: Iterable[LineRuns], sequence: str, line: str) -> LineRuns:
    found = next((each for each in lines if each.line == line), None)
    if found is None:
        raise NotStored(f"lines of sequence {sequence}", line)
    return found


def _named_orders(view: View, names: Sequence[str]) -> tuple[NamedOrder, ...]:
    """Kept sequences as orders to be costed.

    Raises
    ------
    BadInput
        With every one that is not kept.
    """
    found: list[NamedOrder] = []
    faults: list[Fault] = []
    for idx, name in enumerate(names):
        try:
            found.append(_named_order(view, name))
        except NotStored:
            faults.append(Fault("should be a sequence that is kept", field=f"sequences[{idx}]", value=name))
    if faults:
        raise BadInput(faults)
    return tuple(found)


def _named_order(view: View, sequence: str) -> NamedOrder:
    """A kept sequence as an order to be costed, called by its id."""
    order = order_of(sequences.read(view, sequence).plan.sequence)
    return NamedOrder(
        name=sequence,
        lines=tuple(
            LineToCost(
                line=line.line,
                runs=tuple(RunToCost(job=run.job, stations=run.stations, lot=run.lot) for run in line.runs),
            )
            for line in order.lines
        ),
        left_out=order.left_out,
        left_out_lots=tuple(LotNotToRun(job=left.job, lot=left.lot) for left in order.left_out_lots),
    )


def _source(shop: Workshop, view: View, names: Collection[str], asked: Costing) -> CostingSource:
    """Plant and jobs of a costing; what is known of them already is not read again."""
    plant = shop.plants.of(view)
    faults = lock_faults(asked.locks, names)
    if faults:
        raise BadInput(faults)
    versions = job_lookup.versions(view, sorted(names))
    now = shop.now()
    return CostingSource(
        plant_key=view.plant,
        setup_version=plant.setup_version,
        load_plant=lambda: plant_at(plant.plant, now, []),
        jobs=versions,
        load_jobs=lambda missing: _known_jobs(view, missing, versions, plant),
        now=now,
    )


def _known_jobs(
    view: View, names: Collection[str], versions: Mapping[str, int], plant: PlantNow
) -> tuple[Job, ...]:
    """Jobs of which the plant has all that they name.

    Raises
    ------
    BadInput
        Where one is not stored, or names what the plant does not have.
    """
    faults = [
        Fault("should be a job that is stored", field="job", value=name)
        for name in names
        if name not in versions
    ]
    found = job_lookup.by_number(view, names)
    for job in found:
        missing = plant.codes.missing_of(job)
        if missing:
            faults.append(Fault(f"cannot run yet: {'; '.join(missing)}", field="job", value=job.job))
    if faults:
        raise BadInput(faults)
    return tuple(map(laid, found))
