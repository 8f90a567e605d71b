"""Webhooks: made, changed, given another secret."""

from __future__ import annotations

import base64
import secrets
import uuid
from datetime import timedelta
from typing import Final

from app.contracts.webhooks import NewWebhook, SecretMade, StoredWebhook, Webhook, WebhookMade
from app.errors import BadInput, Fault
from app.services.records import Condition
from app.store import webhooks
from app.store.store import Work
from app.webhook_targets import TargetRefused, Targets

OLD_SECRET_SIGNS: Final = timedelta(hours=24)
"""How long the secret before signs too, so that a receiver has the time to take up the new one."""

_SECRET_BYTES = 32


def create(work: Work, targets: Targets, new: NewWebhook) -> WebhookMade:
    """Make a webhook. Its secret is whole in the answer and in no other.

    Raises
    ------
    BadInput
        Where nothing may be sent to its URL.
    """
    _refuse_bad_target(targets, new.url)
    secret = new_secret()
    fields = {name: getattr(new, name) for name in NewWebhook.model_fields}
    stored = webhooks.create(work, Webhook(id=str(uuid.uuid4()), **fields), secret)
    return WebhookMade(secret=secret, shown=stored)


def put(work: Work, targets: Targets, webhook: Webhook, only_if: Condition) -> StoredWebhook:
    """Change a webhook. One whose URL is no longer allowed can still be called otherwise and switched off.

    Raises
    ------
    NotStored
        Where there is none.
    BadInput
        Where nothing may be sent to its URL.
    """
    before = webhooks.read(work, webhook.id)
    only_if(before.version)
    if webhook.active or webhook.url != before.item.url:
        _refuse_bad_target(targets, webhook.url)
    return webhooks.replace(work, webhook, before.version)


def change_secret(work: Work, id: str) -> SecretMade:
    """Give a webhook another secret. For a day the one before signs too; one before that, no longer.

    Raises
    ------
    NotStored
        Where there is no such webhook.
    """
    secret = new_secret()
    old_until = work.at + OLD_SECRET_SIGNS
    webhooks.change_secret(work, id, secret, old_until)
    return SecretMade(secret=secret, old_secret_until=old_until)


def new_secret() -> str:
    """What nobody knows yet: 256 random bits, written as receivers' libraries read them."""
    return f"whsec_{base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode()}"


def _refuse_bad_target(targets: Targets, url: str) -> None:
    try:
        targets.target(url)
    except TargetRefused as refused:
        raise BadInput([Fault(str(refused), field="url", value=url)]) from None
