"""Keys. Of a secret only the digest is kept; the store never sees one."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

from sqlalchemy import RowMapping, insert, or_, select, update

from app.contracts.people import AskedKey, KeyShown
from app.errors import NotStored
from app.security import Holder, KeptKey
from app.store import audit
from app.store.audit import Action, Change
from app.store.kinds import USERS
from app.store.store import Actor, Store, View, Work
from app.store.tables import Base

KEYS = "keys"
_DOOR = Actor("whoever stands at the door")
TABLE = Base.metadata.tables["keys"]
_USERS = USERS.table
_PLANTS = Base.metadata.tables["plants"]
_WITH_USER = select(TABLE, _USERS.c.name.label("user"), _USERS.c.active).outerjoin(
    _USERS, _USERS.c.pk == TABLE.c.user_pk
)


def make(work: Work, asked: AskedKey, public_id: str, digest: str) -> KeyShown:
    """Keep a new key.

    Raises
    ------
    NotStored
        If it is to be of a user who is not there.
    """
    row = {
        "plant_pk": work.plant,
        "id": public_id,
        "hash": digest,
        "name": asked.name,
        "role": asked.role,
        "line": asked.line,
        "user_pk": _user(work, asked.user),
        "created_at": work.at,
        "expires_at": asked.expires_at,
    }
    work.connection.execute(insert(TABLE), [row])
    shown = _required(work, public_id)
    audit.record(work, KEYS, [Change(Action.CREATED, public_id, None, _json(shown))])
    return shown


def listed(view: View) -> tuple[KeyShown, ...]:
    """All keys of the plant, the latest first."""
    rows = view.connection.execute(
        _WITH_USER.where(TABLE.c.plant_pk == view.plant).order_by(TABLE.c.pk.desc())
    )
    return tuple(_shown(row) for row in rows.mappings())


def revoke(work: Work, public_id: str) -> KeyShown:
    """From now on the key opens nothing; one that was revoked before stays as it is.

    Raises
    ------
    NotStored
        If there is no such key.
    """
    before = _required(work, public_id)
    if before.revoked_at is not None:
        return before
    here = TABLE.c.plant_pk == work.plant, TABLE.c.id == public_id
    work.connection.execute(update(TABLE).where(*here).values(revoked_at=work.at))
    after = _required(work, public_id)
    audit.record(work, KEYS, [Change(Action.REVOKED, public_id, _json(before), _json(after))])
    return after


class Keys:
    """Keys of all plants, as whoever stands at the door asks for them."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def kept(self, public_id: str) -> KeptKey | None:
        """The key of that public id, revoked and expired ones too; None where there is none."""
        with self._store.reading() as view:
            chosen = _WITH_USER.add_columns(_PLANTS.c.name.label("plant"))
            chosen = chosen.join(_PLANTS, _PLANTS.c.pk == TABLE.c.plant_pk)
            row = view.connection.execute(chosen.where(TABLE.c.id == public_id)).mappings().first()
        if row is None:
            return None
        return KeptKey(
            public_id=row["id"],
            digest=row["hash"],
            holder=Holder(row["plant"], row["name"], row["role"], row["line"], row["id"]),
            expires=row["expires_at"],
            revoked=row["revoked_at"],
            last_used=row["last_used_on"],
            active=row["user_pk"] is None or row["active"],
        )

    def mark_used(self, public_id: str, day: date) -> None:
        """Note the day a key was last used; it is no change that the audit tells."""
        earlier = or_(TABLE.c.last_used_on.is_(None), TABLE.c.last_used_on < day)
        used = update(TABLE).where(TABLE.c.id == public_id, earlier).values(last_used_on=day)
        with self._store.writing(_DOOR) as work:
            work.connection.execute(used)


def _user(work: Work, name: str | None) -> int | None:
    if name is None:
        return None
    here = _USERS.c.plant_pk == work.plant, _USERS.c.name == name
    number = work.connection.execute(select(_USERS.c.pk).where(*here)).scalar()
    if number is None:
        raise NotStored(USERS.name, name)
    return int(number)


def _required(view: View, public_id: str) -> KeyShown:
    here = TABLE.c.plant_pk == view.plant, TABLE.c.id == public_id
    row = view.connection.execute(_WITH_USER.where(*here)).mappings().first()
    if row is None:
        raise NotStored(KEYS, public_id)
    return _shown(row)


def _shown(row: RowMapping) -> KeyShown:
    day: date | None = row["last_used_on"]
    return KeyShown(
        id=row["id"],
        name=row["name"],
        role=row["role"],
        line=row["line"],
        user=row["user"],
        created_at=row["created_at"],
        expires_at=row["expires_at"],
        revoked_at=row["revoked_at"],
        last_used_at=datetime.combine(day, time.min, UTC) if day else None,
    )


def _json(shown: KeyShown) -> str:
    return shown.model_dump_json(exclude_none=True)
