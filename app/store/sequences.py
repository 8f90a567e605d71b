"""Sequences that are kept, and where they place jobs."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from typing import Any, Final

from sqlalchemy import RowMapping, select

from app.contracts.orders import RunOrder
from app.contracts.posted_jobs import PlannedRun
from app.contracts.sequences import Sequence
from app.contracts.stored import Page, Stored
from app.contracts.stored_sequences import SequenceHead, StoredSequence
from app.errors import VersionConflict
from app.store import audit, plants, records
from app.store.audit import Action, Change
from app.store.kind import Filter, Kind, digest
from app.store.listing import Query
from app.store.many_rows import insert_rows
from app.store.rows import Row, in_utc, items_where, new_numbers, row_of, stored
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
    unlisted=frozenset({"order", "result"}),
)
RUNS = Base.metadata.tables["sequence_runs"]
_C = SEQUENCES.table.c


def keep(work: Work, id: str, name: str, order: RunOrder, sequence: Sequence) -> Stored[SequenceHead]:
    """Keep a costed order under a number of its own.

    Raises
    ------
    VersionConflict
        If there is one of that number.
    """
    work.hold(SEQUENCES.name, [id])
    there = records.read(work, SEQUENCES, id)
    if there is not None:
        raise VersionConflict(SEQUENCES.name, id, None, there.version)
    head = in_utc(SEQUENCES, _head(id, name, plants.setup_version(work), sequence))
    result = sequence.model_dump_json()
    row = {
        **row_of(SEQUENCES, head),
        "pk": next(new_numbers(work.connection, SEQUENCES.table, 1)),
        "plant_pk": work.plant,
        "order": order,
        "result": zlib.compress(result.encode()),
        "version": 1,
        "digest": digest(result),
        "created_at": work.at,
        "updated_at": work.at,
    }
    insert_rows(work.connection, SEQUENCES.table, [row])
    insert_rows(work.connection, RUNS, list(_runs(work, row["pk"], sequence)))
    made = records.require(work, SEQUENCES, id)
    audit.record(work, SEQUENCES.name, [Change(Action.CREATED, id, None, records.json_of(SEQUENCES, made))])
    return made


def read(view: View, id: str) -> StoredSequence | None:
    """A sequence, whole; None if there is none."""
    here = _C.plant_pk == view.plant, _C.id == id
    heads = items_where(view.connection, SEQUENCES, *here)
    if not heads:
        return None
    row, head = heads[0]
    order, result = view.connection.execute(select(_C.order, _C.result).where(*here)).one()
    return StoredSequence(
        **_fields(row, head), order=order, sequence=Sequence.model_validate_json(zlib.decompress(result))
    )


def remove(work: Work, id: str, if_version: int | None = None) -> None:
    """Remove a sequence; raises as `records.remove` does."""
    records.remove(work, SEQUENCES, id, if_version)


def listed(view: View, query: Query) -> Page[Stored[SequenceHead]]:
    """A page of the list of sequences; raises as `records.listed` does."""
    return records.listed(view, SEQUENCES, query)


def planned(view: View, job: str) -> tuple[PlannedRun, ...]:
    """Where kept sequences place a job, the latest sequence first."""
    of_job = RUNS.c.plant_pk == view.plant, RUNS.c.job == job
    columns = _C.id, RUNS.c.line, RUNS.c.position, RUNS.c.print_start, RUNS.c.end
    rows = (
        select(*columns)
        .join(SEQUENCES.table, _C.pk == RUNS.c.sequence_pk)
        .where(*of_job)
        .order_by(_C.pk.desc(), RUNS.c.print_start, RUNS.c.line, RUNS.c.position)
    )
    names = ("sequence", "line", "position", "print_start", "end")
    return tuple(PlannedRun(**dict(zip(names, row, strict=True))) for row in view.connection.execute(rows))


def _fields(row: RowMapping, head: SequenceHead) -> dict[str, Any]:
    return dict(stored(SEQUENCES, row, head))


def _head(id: str, name: str, setup_version: int, sequence: Sequence) -> SequenceHead:
    totals, cost = sequence.totals, sequence.cost
    return SequenceHead(
        id=id,
        name=name,
        goal=sequence.goal,
        start=sequence.start,
        setup_version=setup_version,
        jobs=totals.jobs,
        left_out=totals.left_out,
        late_jobs=totals.late_jobs,
        waste_m=totals.waste_m,
        changeover_min=totals.changeover_min,
        lateness_min=totals.lateness_min,
        total_eur=cost.total_eur,
        controllable_eur=cost.controllable_eur,
    )


def _runs(work: Work, pk: int, sequence: Sequence) -> Iterator[Row]:
    for line in sequence.lines:
        for position, run in enumerate(line.runs, 1):
            yield {
                "sequence_pk": pk,
                "line": line.line,
                "position": position,
                "plant_pk": work.plant,
                "job": run.job,
                "first_label": run.lot and run.lot.first_label,
                "last_label": run.lot and run.lot.last_label,
                "changeover_start": run.changeover_start,
                "print_start": run.print_start,
                "end": run.end,
            }
