"""Roles, and keys that open."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from app.security import (
    MOST_REMEMBERED,
    Doorkeeper,
    Holder,
    KeptKey,
    KeyRefused,
    KeyText,
    Role,
    digest,
    new_key,
    read_key,
)
from tests.app.api.key_shelf import LONG_AGO, KeyShelf


@pytest.mark.parametrize(
    ("role", "included"),
    [
        (Role.INTEGRATION, {Role.INTEGRATION}),
        (Role.SCHEDULER, {Role.INTEGRATION, Role.SCHEDULER}),
        (Role.SUPERVISOR, {Role.INTEGRATION, Role.SCHEDULER, Role.SUPERVISOR}),
        (Role.ADMIN, {Role.INTEGRATION, Role.SCHEDULER, Role.SUPERVISOR, Role.ADMIN}),
        (Role.PRESS, {Role.PRESS}),
    ],
)
def test_a_role_includes_those_before_it_and_press_stands_alone(role: Role, included: set[Role]) -> None:
    assert {other for other in Role if role.includes(other)} == included


def test_a_press_key_has_a_line_and_no_other_has() -> None:
    with pytest.raises(ValueError, match="a press key has a line"):
        Holder("P", "screen", Role.PRESS)
    with pytest.raises(ValueError, match="no other key has one"):
        Holder("P", "MIS", Role.INTEGRATION, "L1")


def test_a_new_key_is_read_as_it_was_written_and_is_like_no_other() -> None:
    key = new_key()
    assert read_key(str(key)) == key
    assert len({new_key().secret for _ in range(100)}) == 100
    assert len(bytes.fromhex(key.secret)) == 32


def test_of_a_key_only_a_digest_is_kept_that_does_not_give_it_away() -> None:
    key = new_key()
    assert key.secret not in digest(key)
    assert digest(key) == digest(read_key(str(key)))
    assert digest(key) != digest(KeyText(key.public_id, new_key().secret))


def test_a_key_does_not_show_its_secret_by_accident() -> None:
    key = new_key()
    assert key.secret not in repr(key)
    assert key.secret not in repr([key])


ID, SECRET = "0a" * 8, "1b" * 32


def test_a_key_of_that_form_is_one() -> None:
    assert str(read_key(f"rw_{ID}_{SECRET}")) == f"rw_{ID}_{SECRET}"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "rw_",
        "rw_1_2",
        f"xx_{ID}_{SECRET}",
        f" rw_{ID}_{SECRET}",
        f"rw_{ID}_{SECRET}".upper(),
        f"rw_{ID}_{SECRET}0",
    ],
)
def test_what_is_no_key_is_refused(text: str) -> None:
    with pytest.raises(KeyRefused, match="This is no key"):
        read_key(text)


def _refusal(keeper: Doorkeeper, key: KeyText) -> str:
    with pytest.raises(KeyRefused) as error:
        keeper.holder(str(key))
    return str(error.value)


def test_a_key_opens_until_it_expires_is_revoked_or_its_user_leaves() -> None:
    shelf = KeyShelf()
    keeper = Doorkeeper(shelf)
    good = shelf.issue(Role.ADMIN, expires=datetime.now(UTC) + timedelta(days=1))
    assert keeper.holder(str(good)).role is Role.ADMIN
    assert "expired" in _refusal(keeper, shelf.issue(Role.ADMIN, expires=LONG_AGO))
    assert "revoked" in _refusal(keeper, shelf.issue(Role.ADMIN, revoked=LONG_AGO))
    left = shelf.issue(Role.ADMIN)
    kept = shelf.keys[left.public_id]
    shelf.keys[left.public_id] = KeptKey(kept.public_id, kept.digest, kept.holder, active=False)
    assert "not active" in _refusal(keeper, left)


def test_a_stranger_is_not_told_whether_the_id_or_the_secret_is_wrong() -> None:
    shelf = KeyShelf()
    keeper = Doorkeeper(shelf)
    known = shelf.issue(Role.ADMIN)
    revoked = shelf.issue(Role.ADMIN, revoked=LONG_AGO)
    told = {
        _refusal(keeper, new_key()),
        _refusal(keeper, KeyText(known.public_id, new_key().secret)),
        _refusal(keeper, KeyText(revoked.public_id, new_key().secret)),
    }
    assert told == {"This key is not known here."}


def test_the_book_is_asked_again_half_a_second_later_and_not_before() -> None:
    shelf, clock = KeyShelf(), [10.0]
    keeper = Doorkeeper(shelf, ticks=lambda: clock[0])
    key = shelf.issue(Role.ADMIN)
    for _ in range(10):
        keeper.holder(str(key))
    assert shelf.asked == 1
    shelf.revoke(key)
    clock[0] += 0.49
    keeper.holder(str(key))
    clock[0] += 0.01
    assert "revoked" in _refusal(keeper, key)


def test_a_wrong_secret_is_refused_while_the_key_is_remembered() -> None:
    shelf = KeyShelf()
    keeper = Doorkeeper(shelf, ticks=lambda: 0.0)
    key = shelf.issue(Role.ADMIN)
    keeper.holder(str(key))
    assert "not known" in _refusal(keeper, KeyText(key.public_id, new_key().secret))


def test_a_key_changed_by_this_process_is_looked_up_at_once() -> None:
    shelf = KeyShelf()
    keeper = Doorkeeper(shelf, ticks=lambda: 0.0)
    key = shelf.issue(Role.ADMIN)
    keeper.holder(str(key))
    shelf.revoke(key)
    keeper.forget(key.public_id)
    assert "revoked" in _refusal(keeper, key)


def test_a_key_that_does_not_open_is_not_used() -> None:
    shelf = KeyShelf()
    keeper = Doorkeeper(shelf)
    key = shelf.issue(Role.ADMIN)
    _refusal(keeper, KeyText(key.public_id, new_key().secret))
    assert shelf.keys[key.public_id].last_used is None


def test_only_so_many_keys_are_remembered() -> None:
    shelf = KeyShelf()
    keeper = Doorkeeper(shelf, ticks=lambda: 0.0)
    holder = Holder("P", "many", Role.ADMIN)
    kept = {f"{idx:016x}": "0" * 64 for idx in range(MOST_REMEMBERED + 5)}
    shelf.keys = {public_id: KeptKey(public_id, secret, holder) for public_id, secret in kept.items()}
    for public_id in kept:
        keeper.fetch(KeyText(public_id, "0" * 64))
    assert len(keeper._seen) <= MOST_REMEMBERED  # noqa: SLF001 – what is remembered is the point
