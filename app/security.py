"""Who asks: roles, keys and their holders.

A key reads `rw_<public id>_<secret>`. The public id finds it and may be shown anywhere; of the secret
only a SHA-256 digest is kept. That is enough, and a slow hash as for passwords would buy nothing: the
secret is 256 bits drawn at random, not something people think up, so it cannot be guessed from its
digest however fast digests are made; and a slow one would cost every single request.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Protocol

from app.errors import RunwrightError


class Role(StrEnum):
    """What a holder may do. Each of the first four includes those before it; press stands alone."""

    INTEGRATION = "integration"
    SCHEDULER = "scheduler"
    SUPERVISOR = "supervisor"
    ADMIN = "admin"
    PRESS = "press"

    def includes(self, other: Role) -> bool:
        """Whether this role may do all that the other may."""
        if Role.PRESS in (self, other):
            return self is other
        return _CHAIN.index(self) >= _CHAIN.index(other)


_CHAIN = (Role.INTEGRATION, Role.SCHEDULER, Role.SUPERVISOR, Role.ADMIN)


@dataclass(frozen=True, slots=True)
class Holder:
    """Whoever asks with a key.

    Parameters
    ----------
    plant
        The plant whose things the holder sees; nothing of another.
    name
        The key's name, as people gave it: it stands in logs and in the audit.
    role
        What the holder may do.
    line
        The press line of a press key; None for every other.
    key_id
        The key's public id.
    """

    plant: str
    name: str
    role: Role
    line: str | None = None
    key_id: str = ""

    def __post_init__(self) -> None:
        if (self.role is Role.PRESS) != (self.line is not None):
            raise ValueError("a press key has a line, and no other key has one")


class KeyRefused(RunwrightError):
    """No key, or one that opens nothing; the message does not tell a stranger which part is wrong."""


@dataclass(frozen=True, slots=True)
class KeyText:
    """A key as it is sent."""

    public_id: str
    secret: str

    def __str__(self) -> str:
        return f"rw_{self.public_id}_{self.secret}"

    def __repr__(self) -> str:
        return f"KeyText(rw_{self.public_id}_…)"


_KEY = re.compile(r"rw_([0-9a-f]{16})_([0-9a-f]{64})")

SECRET_IN_TEXT = re.compile(r"(rw_[0-9a-f]{4,32}_)[0-9A-Za-z]{8,}")
"""Finds what looks like a key in any text; the first group may stay."""


def new_key() -> KeyText:
    """A key that nobody has: 64 random bits name it, 256 are its secret."""
    return KeyText(secrets.token_hex(8), secrets.token_hex(32))


def read_key(text: str) -> KeyText:
    """A key from what was sent.

    Raises
    ------
    KeyRefused
        If it is not of a key's form.
    """
    match = _KEY.fullmatch(text)
    if match is None:
        raise KeyRefused("This is no key; one reads rw_<16 digits>_<64 digits>.")
    return KeyText(match[1], match[2])


def digest(key: KeyText) -> str:
    """What is kept of a key's secret: SHA-256 in hex."""
    return hashlib.sha256(key.secret.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class KeptKey:
    """What the store has of a key; moments are aware, in UTC. `active` is whether its user, if any, is."""

    public_id: str
    digest: str
    holder: Holder
    expires: datetime | None = None
    revoked: datetime | None = None
    last_used: date | None = None
    active: bool = True


class KeyBook(Protocol):
    """Where keys are kept."""

    def kept(self, public_id: str) -> KeptKey | None:
        """The key of that public id, revoked and expired ones too; None where there is none."""

    def mark_used(self, public_id: str, day: date) -> None:
        """Note the day a key was last used."""


REMEMBERED_S = 0.5
"""How long a key is taken as it was last read: a revoked key opens nothing half a second later."""

MOST_REMEMBERED = 10_000


class Doorkeeper:
    """Tells the holder of a key, and asks the book at most twice a second about each.

    Parameters
    ----------
    book
        Where keys are kept.
    now
        The time of day, for expiry.
    ticks
        A clock in seconds that never goes back, for what is remembered.
    remembered_s
        How long what the book said holds.
    """

    def __init__(
        self,
        book: KeyBook,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        ticks: Callable[[], float] = time.monotonic,
        remembered_s: float = REMEMBERED_S,
    ) -> None:
        self._book = book
        self._now = now
        self._ticks = ticks
        self._remembered_s = remembered_s
        self._seen: dict[str, tuple[float, KeptKey]] = {}
        self._lock = threading.Lock()

    def remembered(self, key: KeyText) -> KeptKey | None:
        """What the book said of this key a moment ago; None where it has to be asked."""
        seen = self._seen.get(key.public_id)
        if seen is None or self._ticks() >= seen[0]:
            return None
        return seen[1]

    def fetch(self, key: KeyText) -> KeptKey | None:
        """Ask the book, which may take a while; notes the day a key is used."""
        asked_at = self._ticks()
        kept = self._book.kept(key.public_id)
        if kept is None:
            return None
        self._note_use(key, kept)
        with self._lock:
            if len(self._seen) >= MOST_REMEMBERED:
                self._seen.clear()
            self._seen[key.public_id] = (asked_at + self._remembered_s, kept)
        return kept

    def admit(self, key: KeyText, kept: KeptKey | None) -> Holder:
        """The holder of a key.

        Raises
        ------
        KeyRefused
            If the key is unknown, its secret wrong, or it has expired or been revoked.
        """
        if kept is None or not hmac.compare_digest(kept.digest, digest(key)):
            raise KeyRefused("This key is not known here.")
        if not kept.active:
            raise KeyRefused("The user of this key is not active any more.")
        if kept.revoked is not None:
            raise KeyRefused("This key has been revoked; ask for another.")
        if kept.expires is not None and kept.expires <= self._now():
            raise KeyRefused("This key has expired; ask for another.")
        return kept.holder

    def holder(self, text: str) -> Holder:
        """The holder of a key as it was sent; may ask the book. Raises as `admit` does."""
        key = read_key(text)
        return self.admit(key, self.remembered(key) or self.fetch(key))

    def forget(self, public_id: str) -> None:
        """Ask the book anew about a key that was changed by this process."""
        with self._lock:
            self._seen.pop(public_id, None)

    def _note_use(self, key: KeyText, kept: KeptKey) -> None:
        """Only a key that opens is used."""
        today = self._now().date()
        if kept.last_used == today:
            return
        try:
            self.admit(key, kept)
        except KeyRefused:
            return
        self._book.mark_used(key.public_id, today)
