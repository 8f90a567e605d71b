"""Keys kept in memory, as a store keeps them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from app.security import Holder, KeptKey, KeyText, Role, digest, new_key

PLANT = "Harbour Labels"
LINE = "L1"


class KeyShelf:
    """A book of keys in memory that counts how often it is asked."""

    def __init__(self) -> None:
        self.keys: dict[str, KeptKey] = {}
        self.asked = 0

    def kept(self, public_id: str) -> KeptKey | None:
        self.asked += 1
        return self.keys.get(public_id)

    def mark_used(self, public_id: str, day: date) -> None:
        self.keys[public_id] = replace(self.keys[public_id], last_used=day)

    def issue(
        self,
        role: Role,
        name: str | None = None,
        *,
        expires: datetime | None = None,
        revoked: datetime | None = None,
    ) -> KeyText:
        """Keep a new key; its text is not kept."""
        key = new_key()
        line = LINE if role is Role.PRESS else None
        holder = Holder(PLANT, name or f"the {role.value}", role, line, key.public_id)
        self.keys[key.public_id] = KeptKey(key.public_id, digest(key), holder, expires, revoked)
        return key

    def revoke(self, key: KeyText) -> None:
        self.keys[key.public_id] = replace(self.keys[key.public_id], revoked=datetime.now(UTC))


LONG_AGO = datetime.now(UTC) - timedelta(days=30)
