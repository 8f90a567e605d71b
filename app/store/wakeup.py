"""Tells whoever waits that something has changed."""

from __future__ import annotations

from typing import Final

from sqlalchemy import text

from app.store.engine import is_sqlite
from app.store.store import Work

CHANNEL: Final = "runwright"
QUEUED_TOPIC: Final = "queued"
"""A planning request waits for a worker."""

WEBHOOKS_TOPIC: Final = "webhooks"
"""Something is to be delivered."""

_NOTIFY = text(f"SELECT pg_notify('{CHANNEL}', :topic)")


def request_topic(id: str) -> str:
    """Something has happened to this planning request, or it is further."""
    return f"request:{id}"


def notify(work: Work, topic: str) -> None:
    """Wake those who listen to a topic once the transaction is committed. On SQLite nothing need be said:
    whoever waits looks whether the file has changed.
    """
    if not is_sqlite(work.connection):
        work.connection.execute(_NOTIFY, {"topic": topic})
