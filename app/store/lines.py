"""The lines of a plant: their set-up, and how they stand, each with a version of its own."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import RowMapping, delete, func, insert, select, update

from app.contracts.base import Contract
from app.contracts.plant import Line, PresentState
from app.contracts.plant_setup import LineState, PlantLine
from app.contracts.stored import Stored
from app.errors import NotStored, VersionConflict
from app.store import audit
from app.store.audit import Action, Change
from app.store.kind import digest
from app.store.store import View, Work
from app.store.tables import Base

LINES, STATES = "lines", "line states"
TABLE = Base.metadata.tables["lines"]
_AS_MADE = PresentState()


def read(view: View, line: str) -> Stored[PlantLine] | None:
    """A line as it is set up, and how it stands; None if there is none. The version is that of its set-up."""
    row = _row(view, line)
    return None if row is None else _stored(row)


def read_all(view: View) -> tuple[Stored[PlantLine], ...]:
    """All lines, in the plant's order."""
    rows = view.connection.execute(
        select(TABLE).where(TABLE.c.plant_pk == view.plant).order_by(TABLE.c.position, TABLE.c.pk)
    )
    return tuple(_stored(row) for row in rows.mappings())


def read_state(view: View, line: str) -> Stored[LineState] | None:
    """How a line stands; None if there is none. The version is that of its state."""
    row = _row(view, line)
    return None if row is None else _stored_state(row)


def replace(work: Work, line: PlantLine, if_version: int | None) -> Stored[PlantLine]:
    """Set a line up; one that is new stands as it says, at the plant's end, any other stands as before.

    Raises
    ------
    VersionConflict
        If its set-up is of another version; None: if it is there.
    """
    work.hold_setup()
    row = _row(work, line.id)
    current = None if row is None else row["version"]
    if current != if_version:
        raise VersionConflict(LINES, line.id, if_version, current)
    if row is None:
        last = select(func.coalesce(func.max(TABLE.c.position), 0)).where(TABLE.c.plant_pk == work.plant)
        _make(work, line, work.connection.execute(last).scalar_one() + 1)
    else:
        _set_up(work, row, line, row["position"])
    return _required(work, line.id)


def replace_state(work: Work, state: LineState, if_version: int | None) -> Stored[LineState]:
    """Say how a line stands; None: whatever it was.

    Raises
    ------
    NotStored
        If there is no such line.
    VersionConflict
        If its state is of another version.
    """
    work.hold_setup()
    row = _row(work, state.line)
    if row is None:
        raise NotStored(LINES, state.line)
    if if_version not in (None, row["present_version"]):
        raise VersionConflict(STATES, state.line, if_version, row["present_version"])
    _stand(work, row, state.present)
    changed = read_state(work, state.line)
    if changed is None:
        raise NotStored(LINES, state.line)
    return changed


def remove(work: Work, line: str, if_version: int | None = None) -> None:
    """Remove a line.

    Raises
    ------
    NotStored
        If there is none.
    VersionConflict
        If its set-up is of another version than is named.
    """
    work.hold_setup()
    row = _row(work, line)
    if row is None:
        raise NotStored(LINES, line)
    if if_version not in (None, row["version"]):
        raise VersionConflict(LINES, line, if_version, row["version"])
    _remove(work, row)


def put_all(work: Work, lines: Sequence[Line]) -> None:
    """Afterwards the plant has these lines, in this order and standing so, and no others."""
    work.hold_setup()
    rows = work.connection.execute(select(TABLE).where(TABLE.c.plant_pk == work.plant)).mappings()
    there = {row["id"]: row for row in rows}
    for position, line in enumerate(lines, 1):
        row = there.pop(line.id, None)
        if row is None:
            _make(work, line, position)
        else:
            _set_up(work, row, line, position)
            _stand(work, row, line.present)
    for row in there.values():
        _remove(work, row)


def _row(view: View, line: str) -> RowMapping | None:
    here = select(TABLE).where(TABLE.c.plant_pk == view.plant, TABLE.c.id == line)
    return view.connection.execute(here).mappings().first()


def _required(view: View, line: str) -> Stored[PlantLine]:
    found = read(view, line)
    if found is None:
        raise NotStored(LINES, line)
    return found


def _stored(row: RowMapping) -> Stored[PlantLine]:
    line = PlantLine.model_construct(**{**row["setup"].__dict__, "present": row["present"]})
    return Stored[PlantLine].model_construct(item=line, version=row["version"], updated_at=row["updated_at"])


def _stored_state(row: RowMapping) -> Stored[LineState]:
    return Stored[LineState].model_construct(
        item=LineState(line=row["id"], present=row["present"]),
        version=row["present_version"],
        updated_at=row["present_updated_at"],
    )


def _setup_of(line: Line) -> Line:
    """A line without how it stands."""
    fields = {name: getattr(line, name) for name in Line.model_fields}
    return Line.model_construct(**{**fields, "present": _AS_MADE})


def _make(work: Work, line: Line, position: int) -> None:
    setup = _setup_of(line)
    row = {
        "plant_pk": work.plant,
        "id": line.id,
        "position": position,
        "setup": setup,
        "present": line.present,
        "present_version": 1,
        "present_updated_at": work.at,
        "version": 1,
        "digest": digest(_json(setup)),
        "created_at": work.at,
        "updated_at": work.at,
    }
    work.connection.execute(insert(TABLE), [row])
    audit.record(work, LINES, [Change(Action.CREATED, line.id, None, _json(setup))])
    audit.record(work, STATES, [Change(Action.CREATED, line.id, None, _json(line.present))])
    work.raise_setup()


def _set_up(work: Work, row: RowMapping, line: Line, position: int) -> None:
    setup = _setup_of(line)
    text = _json(setup)
    same = digest(text) == row["digest"]
    if same and position == row["position"]:
        return
    changed = {
        "setup": setup,
        "position": position,
        "digest": digest(text),
        "version": row["version"] + 1,
        "updated_at": work.at,
    }
    work.connection.execute(update(TABLE).where(TABLE.c.pk == row["pk"]).values(changed))
    if not same:
        audit.record(work, LINES, [Change(Action.UPDATED, line.id, _json(row["setup"]), text)])
    work.raise_setup()


def _stand(work: Work, row: RowMapping, present: PresentState) -> None:
    before, after = _json(row["present"]), _json(present)
    if before == after:
        return
    changed = {
        "present": present,
        "present_version": row["present_version"] + 1,
        "present_updated_at": work.at,
    }
    work.connection.execute(update(TABLE).where(TABLE.c.pk == row["pk"]).values(changed))
    audit.record(work, STATES, [Change(Action.UPDATED, row["id"], before, after)])
    work.raise_setup()


def _remove(work: Work, row: RowMapping) -> None:
    work.connection.execute(delete(TABLE).where(TABLE.c.pk == row["pk"]))
    audit.record(work, LINES, [Change(Action.REMOVED, row["id"], _json(row["setup"]), None)])
    work.raise_setup()


def _json(part: Contract) -> str:
    return part.model_dump_json(by_alias=True, exclude_none=True)
