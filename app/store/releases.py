"""Releases: sequences that were given to the floor, and what every line is to run now.

A line has one current release at most. The one before is kept, with when it was superseded or withdrawn.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Final

from sqlalchemy import (
    ColumnElement,
    RowMapping,
    Select,
    and_,
    bindparam,
    exists,
    func,
    insert,
    select,
    update,
)

from app.contracts.releases import Objection, Release, ReleasedLine, ReleasedRun
from app.contracts.stored import Page
from app.errors import NotStored
from app.store import audit
from app.store.audit import Action, Change
from app.store.engine import is_sqlite
from app.store.kinds import JOBS
from app.store.listing import Query, Stretch, page_of
from app.store.many_rows import insert_rows
from app.store.rows import among, among_these, as_it_was, these
from app.store.sequences import RUNS, SEQUENCES, lot_of
from app.store.store import View, Work
from app.store.tables import Base

NAME: Final = "releases"
TABLE = Base.metadata.tables["releases"]
LINES = Base.metadata.tables["release_lines"]
_R, _L, _S, _RUN = TABLE.c, LINES.c, SEQUENCES.table.c, RUNS.c
_IS_CURRENT: Final = and_(_L.superseded_at.is_(None), _L.withdrawn_at.is_(None))
_RELEASES: Final = select(
    _R.pk,
    _R.id,
    _S.id.label("sequence"),
    _S.name.label("sequence_name"),
    _R.note,
    _R.despite,
    _R.released_at,
    _R.released_by,
).join(SEQUENCES.table, _S.pk == _R.sequence_pk)


@dataclass(frozen=True, slots=True)
class NewRelease:
    """A release that nothing speaks against, or that is made all the same.

    Parameters
    ----------
    sequence_pk
        The sequence's number in the store.
    lines
        Lines of it, in the order in which they are shown.
    despite
        What spoke against it.
    """

    id: str
    sequence_pk: int
    lines: tuple[str, ...]
    note: str
    despite: tuple[Objection, ...] = ()


@dataclass(frozen=True, slots=True)
class CurrentRelease:
    """What a line is to run now.

    Parameters
    ----------
    number
        Of the release in the store: the later it was made, the higher.
    kept_at, start
        When the sequence was kept, and when its plan begins.
    """

    number: int
    line: str
    release: str
    sequence: str
    note: str
    despite: tuple[Objection, ...]
    released_at: datetime
    released_by: str
    kept_at: datetime
    start: datetime


def hold(work: Work, sequence: str | None = None) -> None:
    """Keep others from releasing and withdrawing anything of the plant, from changing its jobs, and from
    removing a sequence, until the transaction ends.
    """
    if sequence is not None:
        work.hold(SEQUENCES.name, [sequence])
    work.hold(NAME, [])
    work.hold(JOBS.name, [])


def keep(work: Work, new: NewRelease) -> Release:
    """Make a release current on its lines; what was so before is superseded. Others must be held off."""
    before = _current_on(work, new.lines)
    row = {
        "plant_pk": work.plant,
        "id": new.id,
        "sequence_pk": new.sequence_pk,
        "note": new.note,
        "despite": new.despite,
        "released_at": work.at,
        "released_by": work.actor.name,
    }
    pk: int = work.connection.execute(insert(TABLE).values(row).returning(_R.pk)).scalar_one()
    _end(work, new.lines, {"superseded_at": work.at, "superseded_by": pk})
    insert_rows(work.connection, LINES, list(_line_rows(work, pk, new)))
    made = read(work, new.id)
    created = Change(Action.CREATED, made.id, None, _json(made))
    audit.record(work, NAME, [created, *_changes(work, Action.UPDATED, before)])
    return made


def withdraw(work: Work, release: str, lines: Sequence[str], note: str) -> Release:
    """Take a release from lines on which it is current: they have none then. Others must be held off.

    Raises
    ------
    NotStored
        If there is no such release.
    """
    before = read(work, release)
    _end(work, lines, {"withdrawn_at": work.at, "withdrawn_by": work.actor.name, "withdrawal_note": note})
    audit.record(work, NAME, _changes(work, Action.WITHDRAWN, [before]))
    return read(work, release)


def read(view: View, release: str) -> Release:
    """A release, current or not.

    Raises
    ------
    NotStored
        If there is none.
    """
    here = _R.plant_pk == view.plant, _R.id == release
    rows = view.connection.execute(_RELEASES.where(*here)).mappings().all()
    if not rows:
        raise NotStored(NAME, release)
    return _releases(view, rows)[0]


def listed(view: View, query: Query, line: str | None = None, current: bool | None = None) -> Page[Release]:
    """A page of releases, the latest first: those of a line, and those that are current there or anywhere.

    Raises
    ------
    BadInput
        If the cursor is none of this list.
    """
    latest_first = Stretch(tuple(_conditions(view, line, current)), (_R.pk,), backwards=True)
    rows, following = page_of(view.connection, _RELEASES, TABLE, view.plant, [latest_first], query)
    return Page[Release](items=tuple(_releases(view, rows)), next_cursor=following)


def current(view: View) -> tuple[CurrentRelease, ...]:
    """What the plant's lines are to run now, by line; lines that have no release are not in it."""
    return _current(view)


def current_of(view: View, line: str) -> CurrentRelease:
    """What a line is to run now.

    Raises
    ------
    NotStored
        If it has no release.
    """
    found = _current(view, _L.line == line)
    if not found:
        raise NotStored("current releases of lines", line)
    return found[0]


def of_jobs(view: View, jobs: Sequence[str]) -> dict[str, tuple[ReleasedRun, ...]]:
    """Runs of jobs in current releases, as they follow in time; a job that has none is not in it."""
    values = {"plant": view.plant, "these": these(view.connection, list(jobs))}
    found = view.connection.execute(_released(is_sqlite(view.connection), of_jobs=True), values)
    return _by_job(found.mappings())


def of_lines(view: View) -> dict[str, tuple[tuple[str, ReleasedRun], ...]]:
    """By line, the jobs and runs of its current release in order; of an empty one none."""
    values = {"plant": view.plant}
    found = view.connection.execute(_released(is_sqlite(view.connection), of_jobs=False), values)
    by_line: dict[str, list[tuple[str, ReleasedRun]]] = {}
    for row in found.mappings():
        by_line.setdefault(row["line"], []).append((row["job"], _run(row)))
    return {line: tuple(sorted(runs, key=_position)) for line, runs in by_line.items()}


def _position(placed: tuple[str, ReleasedRun]) -> int:
    return placed[1].position


def _by_job(rows: Iterable[RowMapping]) -> dict[str, tuple[ReleasedRun, ...]]:
    found: dict[str, list[ReleasedRun]] = {}
    for row in rows:
        found.setdefault(row["job"], []).append(_run(row))
    return {job: tuple(runs) for job, runs in found.items()}


_OF_RUN = ("line", "position", "changeover_start", "print_start", "end", "press_due", "late_min")


@cache
def _released(sqlite: bool, *, of_jobs: bool) -> Select[Any]:
    """Runs of current releases. The few lines that have one come first, and of their runs alone the jobs are
    looked at: of how many kept sequences a job is a part does not count.
    """
    wanted: list[ColumnElement[bool]] = [_L.plant_pk == bindparam("plant"), _IS_CURRENT]
    if of_jobs:
        wanted.append(among_these(sqlite, _RUN.job))
    return (
        select(
            _RUN.job,
            _R.id.label("release"),
            _S.id.label("sequence"),
            _RUN.first_label,
            _RUN.last_label,
            *(_RUN[name] for name in _OF_RUN),
        )
        .select_from(LINES)
        .join(TABLE, _R.pk == _L.release_pk)
        .join(SEQUENCES.table, _S.pk == _R.sequence_pk)
        .join(RUNS, and_(_RUN.sequence_pk == _R.sequence_pk, _RUN.line == _L.line))
        .where(*wanted)
        .order_by(_RUN.changeover_start, _RUN.line, _RUN.position)
    )


def _run(row: RowMapping) -> ReleasedRun:
    lot = lot_of(row["first_label"], row["last_label"])
    told = {name: row[name] for name in ("release", "sequence", *_OF_RUN)}
    return as_it_was(ReleasedRun, {**told, "lot": lot})


def _current(view: View, *conditions: ColumnElement[bool]) -> tuple[CurrentRelease, ...]:
    chosen: Select[Any] = (
        select(
            _R.pk,
            _L.line,
            _R.id,
            _S.id,
            _R.note,
            _R.despite,
            _R.released_at,
            _R.released_by,
            _S.created_at,
            _S.start,
        )
        .select_from(LINES)
        .join(TABLE, _R.pk == _L.release_pk)
        .join(SEQUENCES.table, _S.pk == _R.sequence_pk)
        .where(_L.plant_pk == view.plant, _IS_CURRENT, *conditions)
        .order_by(_L.line)
    )
    return tuple(CurrentRelease(*row) for row in view.connection.execute(chosen))


def _current_on(view: View, lines: Collection[str]) -> list[Release]:
    """Releases that are current on any of these lines."""
    on = among(view.connection, _L.line, list(lines))
    those = select(_L.release_pk).where(_L.plant_pk == view.plant, _IS_CURRENT, on)
    rows = view.connection.execute(_RELEASES.where(_R.pk.in_(those)).order_by(_R.pk)).mappings().all()
    return _releases(view, rows)


def _end(work: Work, lines: Collection[str], how: dict[str, Any]) -> None:
    """Lines have no current release any more."""
    on = among(work.connection, _L.line, list(lines))
    work.connection.execute(update(LINES).where(_L.plant_pk == work.plant, _IS_CURRENT, on).values(how))


def _line_rows(work: Work, pk: int, new: NewRelease) -> Iterator[dict[str, Any]]:
    totals = (
        select(_RUN.line, func.count(), func.min(_RUN.changeover_start), func.max(_RUN.end))
        .where(_RUN.sequence_pk == new.sequence_pk)
        .group_by(_RUN.line)
    )
    by_line = {line: tuple(of_line) for line, *of_line in work.connection.execute(totals)}
    for position, line in enumerate(new.lines, 1):
        runs, first_start, last_end = by_line.get(line, (0, None, None))
        yield {
            "release_pk": pk,
            "line": line,
            "plant_pk": work.plant,
            "position": position,
            "runs": runs,
            "first_start": first_start,
            "last_end": last_end,
        }


def _changes(work: Work, action: Action, before: Sequence[Release]) -> list[Change]:
    return [Change(action, old.id, _json(old), _json(read(work, old.id))) for old in before]


def _conditions(view: View, line: str | None, current: bool | None) -> Iterator[ColumnElement[bool]]:
    on_line = [] if line is None else [_L.line == line]
    if line is not None and not current:
        yield exists().where(_L.release_pk == _R.pk, *on_line)
    if current is not None:
        of_now = select(_L.release_pk).where(_L.plant_pk == view.plant, _IS_CURRENT, *on_line)
        yield _R.pk.in_(of_now) if current else _R.pk.not_in(of_now)


def _releases(view: View, rows: Sequence[RowMapping]) -> list[Release]:
    lines = _lines(view, [row["pk"] for row in rows])
    return [
        Release(
            **{name: row[name] for name in Release.model_fields if name != "lines"},
            lines=tuple(lines.get(row["pk"], ())),
        )
        for row in rows
    ]


def _lines(view: View, releases: list[int]) -> dict[int, list[ReleasedLine]]:
    later = TABLE.alias("later")
    chosen = (
        select(LINES, later.c.id.label("later_id"))
        .outerjoin(later, later.c.pk == _L.superseded_by)
        .where(among(view.connection, _L.release_pk, releases))
        .order_by(_L.release_pk, _L.position)
    )
    found: dict[int, list[ReleasedLine]] = {}
    for row in view.connection.execute(chosen).mappings():
        found.setdefault(row["release_pk"], []).append(_line(row))
    return found


def _line(row: RowMapping) -> ReleasedLine:
    return ReleasedLine(
        line=row["line"],
        runs=row["runs"],
        first_start=row["first_start"],
        last_end=row["last_end"],
        current=row["superseded_at"] is None and row["withdrawn_at"] is None,
        superseded_at=row["superseded_at"],
        superseded_by=row["later_id"],
        withdrawn_at=row["withdrawn_at"],
        withdrawn_by=row["withdrawn_by"],
        withdrawal_note=row["withdrawal_note"],
    )


def _json(release: Release) -> str:
    return release.model_dump_json(by_alias=True, exclude_none=True)
