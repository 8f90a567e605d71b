"""Keys: made, listed, taken back."""

from __future__ import annotations

from app.contracts.people import AskedKey, KeyMade, KeyShown
from app.errors import BadInput, Fault, NotStored
from app.security import digest, new_key
from app.store import keys
from app.store.store import View, Work


def create(work: Work, asked: AskedKey) -> KeyMade:
    """Make a key. It is whole in the answer and nowhere else.

    Raises
    ------
    BadInput
        Where its user is not known.
    """
    key = new_key()
    try:
        shown = keys.make(work, asked, key.public_id, digest(key))
    except NotStored:
        raise BadInput([Fault("should be a user that is there", field="user", value=asked.user)]) from None
    return KeyMade(key=str(key), shown=shown)


def listed(view: View) -> tuple[KeyShown, ...]:
    """All keys of the plant, the latest first."""
    return keys.listed(view)


def revoke(work: Work, key_id: str) -> KeyShown:
    """Take a key back; it opens nothing from now on.

    Raises
    ------
    NotStored
        Where there is no such key.
    """
    return keys.revoke(work, key_id)
