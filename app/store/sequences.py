"""Sequences that are kept, and where they place jobs."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from pydantic import BaseModel
from sqlalchemy import ColumnElement, select

from app.contracts.orders import LabelRange
from app.contracts.sequences import CostedPlan, LineRuns, Sequence
from app.contracts.stored import Page, Stored
from app.contracts.stored_sequences import SequenceHead, SequenceInput
from app.errors import Conflict, NotStored, VersionConflict
from app.store import audit, records
from app.store.audit import Action, Change
from app.store.kind import Filter, Kind, digest
from app.store.listing import Query
from app.store.many_rows import insert_rows
from app.store.rows import Row, in_utc, new_numbers, row_of
from app.store.store import View, Work
from app.store.tables import Base

SEQUENCES: Final = Kind(
    name="sequences",
    contract=SequenceHead,
    stored=Stored[SequenceHead],
    table=Base.metadata.tables["sequences"],
    key="id",
    folded={"id_folded": "id"},
    searched=("id_folded",),
    filters={"goal": Filter("goal"), "name": Filter("name")},
    sorts={"start": "start", "updated_at": "updated_at"},
    unlisted=frozenset({"input", "plan", "state"}),
)
RUNS = Base.metadata.tables["sequence_runs"]
_C = SEQUENCES.table.c


@dataclass(frozen=True, slots=True)
class KeptSequence:
    """A kept sequence, whole.

    Parameters
    ----------
    input
        What it was worked out from.
    state
        What plant and jobs were then, in a word: another one means that something of them has changed.
    """

    head: Stored[SequenceHead]
    plan: CostedPlan
    input: SequenceInput
    state: str


@dataclass(frozen=True, slots=True)
class Origin:
    """What a kept sequence was worked out from.

    Parameters
    ----------
    pk
        The sequence's number in the store.
    state
        What plant and jobs were then, in a word.
    kept_at
        When it was kept.
    """

    pk: int
    id: str
    state: str
    kept_at: datetime
    input: SequenceInput


@dataclass(frozen=True, slots=True)
class KeptRun:
    """A run of a kept sequence: where it stands and when its changeover starts."""

    line: str
    position: int
    job: str
    lot: LabelRange | None
    changeover_start: datetime


@dataclass(frozen=True, slots=True)
class PreparedSequence:
    """A costed order as it will be kept, worked out before a transaction begins that others wait for.

    Parameters
    ----------
    row, runs
        Its rows, but for what the transaction alone knows.
    """

    head: SequenceHead
    row: Row
    runs: tuple[Row, ...]


def prepare(
    id: str, name: str, plan: CostedPlan, text: bytes, worked_from: bytes, state: str
) -> PreparedSequence:
    """A costed order as it will be kept under an id of its own.

    Parameters
    ----------
    text
        The plan's JSON.
    worked_from
        What it was worked out from: a `SequenceInput` as compressed JSON.
    """
    head = in_utc(SEQUENCES, _head(id, name, plan.sequence))
    row = {
        **row_of(SEQUENCES, head),
        "plan": zlib.compress(text),
        "input": worked_from,
        "state": state,
        "version": 1,
        "digest": digest(text.decode()),
    }
    return PreparedSequence(head, row, tuple(_runs(plan.sequence)))


def keep_prepared(work: Work, prepared: PreparedSequence) -> Stored[SequenceHead]:
    """Keep a sequence.

    Raises
    ------
    VersionConflict
        If there is one of that id.
    """
    id = prepared.head.id
    work.hold(SEQUENCES.name, [id])
    there = records.read(work, SEQUENCES, id)
    if there is not None:
        raise VersionConflict(SEQUENCES.name, id, None, there.version)
    pk = next(new_numbers(work.connection, SEQUENCES.table, 1))
    of_work = {"pk": pk, "plant_pk": work.plant, "created_at": work.at, "updated_at": work.at}
    insert_rows(work.connection, SEQUENCES.table, [{**prepared.row, **of_work}])
    of_sequence = {"sequence_pk": pk, "plant_pk": work.plant}
    insert_rows(work.connection, RUNS, [{**run, **of_sequence} for run in prepared.runs])
    made = records.require(work, SEQUENCES, id)
    audit.record(work, SEQUENCES.name, [Change(Action.CREATED, id, None, records.json_of(SEQUENCES, made))])
    return made


def keep(
    work: Work, id: str, name: str, plan: CostedPlan, worked_from: SequenceInput, state: str
) -> Stored[SequenceHead]:
    """Keep a costed order under an id of its own; raises as `keep_prepared` does."""
    text = plan.model_dump_json(by_alias=True).encode()
    source = zlib.compress(worked_from.model_dump_json(by_alias=True).encode())
    return keep_prepared(work, prepare(id, name, plan, text, source, state))


def read(view: View, id: str) -> KeptSequence:
    """A sequence, whole.

    Raises
    ------
    NotStored
        If there is none.
    """
    head = records.require(view, SEQUENCES, id)
    columns = _C.plan, _C.input, _C.state
    plan, worked_from, state = view.connection.execute(select(*columns).where(*_here(view, id))).one()
    return KeptSequence(
        head,
        CostedPlan.model_validate_json(zlib.decompress(plan)),
        SequenceInput.model_validate_json(zlib.decompress(worked_from)),
        state,
    )


def origin(view: View, id: str) -> Origin:
    """What a sequence was worked out from, and when.

    Raises
    ------
    NotStored
        If there is none.
    """
    columns = _C.pk, _C.id, _C.state, _C.created_at, _C.input
    row = view.connection.execute(select(*columns).where(*_here(view, id))).first()
    if row is None:
        raise NotStored(SEQUENCES.name, id)
    pk, number, state, kept_at, worked_from = row
    found = SequenceInput.model_validate_json(zlib.decompress(worked_from))
    return Origin(pk, number, state, kept_at, found)


def is_kept(view: View, origin: Origin) -> bool:
    """Whether a sequence that was read before is still there."""
    here = select(_C.pk).where(*_here(view, origin.id))
    return view.connection.execute(here).scalar() == origin.pk


class _Lines(BaseModel):
    """Of a sequence its lines alone: its ledger is read over."""

    lines: tuple[LineRuns, ...]


class _Recommended(BaseModel):
    """Of a costed plan its recommended sequence alone: all beside it is read over."""

    sequence: _Lines


def lines_of(view: View, id: str) -> tuple[LineRuns, ...]:
    """The lines of a sequence with their runs; alternatives, ledger and what it was worked out from are not
    looked at, which are most of it.

    Raises
    ------
    NotStored
        If there is none.
    """
    plan = view.connection.execute(select(_C.plan).where(*_here(view, id))).scalar()
    if plan is None:
        raise NotStored(SEQUENCES.name, id)
    return _Recommended.model_validate_json(zlib.decompress(plan)).sequence.lines


def runs_of(view: View, pk: int) -> tuple[KeptRun, ...]:
    """Runs of the sequence of a number, line by line in order."""
    run = RUNS.c
    columns = run.line, run.position, run.job, run.first_label, run.last_label, run.changeover_start
    chosen = select(*columns).where(run.sequence_pk == pk).order_by(run.line, run.position)
    return tuple(
        KeptRun(line, position, job, lot_of(first, last), start)
        for line, position, job, first, last, start in view.connection.execute(chosen)
    )


def lot_of(first_label: int | None, last_label: int | None) -> LabelRange | None:
    """The lot that a run's row tells; None for a whole job."""
    if first_label is None or last_label is None:
        return None
    return LabelRange(first_label=first_label, last_label=last_label)


def remove(work: Work, id: str, if_version: int | None = None) -> None:
    """Remove a sequence; raises as `records.remove` does.

    Raises
    ------
    Conflict
        If it was ever released: what the floor was told stays.
    """
    work.hold(SEQUENCES.name, [id])
    released = Base.metadata.tables["releases"].c
    of_it = select(released.id).join(SEQUENCES.table, _C.pk == released.sequence_pk)
    by = work.connection.execute(of_it.where(*_here(work, id)).order_by(released.pk.desc())).scalars().first()
    if by is not None:
        raise Conflict(f"The sequence stays: it was given to the floor by release {by}.")
    records.remove(work, SEQUENCES, id, if_version)


def listed(view: View, query: Query) -> Page[Stored[SequenceHead]]:
    """A page of the list of sequences; raises as `records.listed` does."""
    return records.listed(view, SEQUENCES, query)


def _here(view: View, id: str) -> tuple[ColumnElement[bool], ...]:
    return _C.plant_pk == view.plant, _C.id == id


def _head(id: str, name: str, sequence: Sequence) -> SequenceHead:
    totals, cost = sequence.totals, sequence.cost
    return SequenceHead(
        id=id,
        name=name,
        goal=sequence.goal,
        start=sequence.start,
        jobs=totals.jobs,
        left_out=totals.left_out,
        late_jobs=totals.late_jobs,
        waste_m=totals.waste_m,
        changeover_min=totals.changeover_min,
        lateness_min=totals.lateness_min,
        total_eur=cost.total_eur,
        controllable_eur=cost.controllable_eur,
    )


def _runs(sequence: Sequence) -> Iterator[Row]:
    for line in sequence.lines:
        for position, run in enumerate(line.runs, 1):
            yield {
                "line": line.line,
                "position": position,
                "job": run.job,
                "first_label": run.lot and run.lot.first_label,
                "last_label": run.lot and run.lot.last_label,
                "changeover_start": run.changeover_start,
                "print_start": run.print_start,
                "end": run.end,
                "press_due": run.press_due,
                "late_min": run.late_min,
            }
