"""Keys open what they were made for until they are taken back; their secrets are nowhere."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import text

from app.contracts.people import AskedKey, User
from app.errors import NotStored
from app.security import Doorkeeper, KeyRefused, Role, digest, new_key
from app.store import audit, keys, records
from app.store.keys import Keys
from app.store.kinds import USERS
from app.store.listing import Query
from app.store.store import Store
from tests.app.store.things import ANN, ELSEWHERE, NOON

BEN = User(name="Ben", full_name="Ben Press", role=Role.SCHEDULER)
ASKED = AskedKey(name="MIS", role=Role.INTEGRATION)


def door(store: Store) -> Doorkeeper:
    return Doorkeeper(Keys(store), now=lambda: NOON, ticks=lambda: 0, remembered_s=0)


def test_a_key_opens_its_plant_and_is_shown_without_its_secret(store: Store) -> None:
    key = new_key()
    with store.writing(ANN) as work:
        shown = keys.make(work, ASKED, key.public_id, digest(key))
    assert shown.id == key.public_id
    assert key.secret not in shown.model_dump_json()
    holder = door(store).holder(str(key))
    assert (holder.plant, holder.name, holder.role) == ("here", "MIS", Role.INTEGRATION)
    with store.reading("here") as view:
        (listed,) = keys.listed(view)
        assert listed.last_used_at == datetime.combine(NOON.date(), datetime.min.time(), UTC)
        told = view.connection.execute(text("SELECT after FROM audit WHERE resource = 'keys'")).scalar_one()
    assert key.secret not in str(told)
    assert digest(key) not in str(told)


def test_a_press_key_has_its_line(store: Store) -> None:
    key = new_key()
    with store.writing(ANN) as work:
        keys.make(work, AskedKey(name="screen", role=Role.PRESS, line="H1"), key.public_id, digest(key))
    assert door(store).holder(str(key)).line == "H1"


def test_a_revoked_key_opens_nothing_and_stays_in_the_list(store: Store) -> None:
    key = new_key()
    with store.writing(ANN) as work:
        keys.make(work, ASKED, key.public_id, digest(key))
        revoked = keys.revoke(work, key.public_id)
        assert revoked.revoked_at is not None
        assert keys.revoke(work, key.public_id) == revoked
        actions = [entry.action for entry in audit.entries(work, Query(filters={"resource": "keys"})).items]
    assert actions == ["revoked", "created"]
    with pytest.raises(KeyRefused, match="revoked"):
        door(store).holder(str(key))


def test_an_expired_key_and_an_unknown_one_open_nothing(store: Store) -> None:
    key = new_key()
    asked = ASKED.model_copy(update={"expires_at": NOON - timedelta(seconds=1)})
    with store.writing(ANN) as work:
        keys.make(work, asked, key.public_id, digest(key))
    with pytest.raises(KeyRefused, match="expired"):
        door(store).holder(str(key))
    with pytest.raises(KeyRefused, match="not known"):
        door(store).holder(str(new_key()))


def test_keys_of_a_user_open_while_the_user_is_active(store: Store) -> None:
    key = new_key()
    with store.writing(ANN) as work:
        records.replace(work, USERS, BEN, None)
        asked = ASKED.model_copy(update={"user": "Ben"})
        assert keys.make(work, asked, key.public_id, digest(key)).user == "Ben"
    assert door(store).holder(str(key)).name == "MIS"
    with store.writing(ANN) as work:
        records.replace(work, USERS, BEN.model_copy(update={"active": False}), 1)
    with pytest.raises(KeyRefused, match="not active"):
        door(store).holder(str(key))


def test_a_key_of_nobody_is_refused(store: Store) -> None:
    with pytest.raises(NotStored, match="users has no “Ben”"), store.writing(ANN) as work:
        keys.make(work, ASKED.model_copy(update={"user": "Ben"}), "0" * 16, "digest")


def test_a_plant_sees_and_revokes_only_its_own_keys(store: Store) -> None:
    with store.writing(ANN) as work:
        keys.make(work, ASKED, "0" * 16, "digest")
    with store.writing(ELSEWHERE) as work:
        assert keys.listed(work) == ()
        with pytest.raises(NotStored):
            keys.revoke(work, "0" * 16)


def test_use_is_noted_by_the_day_and_never_backwards(store: Store) -> None:
    with store.writing(ANN) as work:
        keys.make(work, ASKED, "0" * 16, "digest")
    book = Keys(store)
    book.mark_used("0" * 16, date(2027, 3, 2))
    book.mark_used("0" * 16, date(2027, 3, 1))
    kept = book.kept("0" * 16)
    assert kept is not None
    assert kept.last_used == date(2027, 3, 2)
    assert book.kept("1" * 16) is None
