"""Forgets what nobody needs any more: answers that were kept, messages, plans."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Final

from app.settings import Settings
from app.store import idempotency, old_plans, webhooks
from app.store.store import Actor, Store, Work

MESSAGES_AT_ONCE: Final = 5_000
"""Deliveries and messages: some 50 ms of SQLite's one writer."""

PLANS_AT_ONCE: Final = 50
"""Each with some sequences of a hundred kB."""


def forget(settings: Settings, store: Store) -> None:
    """Answers are kept for who asks again, messages for who looks what was delivered, plans for who may yet
    release them; after so long nobody does.
    """
    with store.writing(Actor("service")) as work:
        idempotency.forget_before(work, work.at - settings.answers_kept)
    _forget(store, webhooks.forget_before, settings.deliveries_kept, MESSAGES_AT_ONCE)
    _forget(store, old_plans.forget_before, settings.plans_kept, PLANS_AT_ONCE)


def _forget(
    store: Store, forget_before: Callable[[Work, datetime, int], int], kept: timedelta, most: int
) -> None:
    """There may be many: others write between one block of them and the next."""
    forgotten = most
    while forgotten >= most:
        with store.writing(Actor("service")) as work:
            forgotten = forget_before(work, work.at - kept, most)
