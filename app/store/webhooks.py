"""Webhooks and their deliveries, as people ask for them.

A secret goes in and comes out for signing alone (`webhook_turns`); nothing here shows one, and the audit
never has it.
"""

from __future__ import annotations

import json
from dataclasses import replace as changed
from datetime import datetime
from typing import Any, Final, cast

from sqlalchemy import RowMapping, delete, exists, func, select, update

from app.contracts.messages import TEST, WebhookTested
from app.contracts.stored import Page
from app.contracts.webhooks import (
    DeliveryStatus,
    StoredWebhook,
    Webhook,
    WebhookDelivery,
    WebhookDeliveryDetail,
    WebhookDetail,
)
from app.errors import Conflict, NotStored
from app.store import announcing, audit, records
from app.store.announcing import DELIVERIES, MESSAGES
from app.store.audit import Action, Change
from app.store.kind import Filter, Kind
from app.store.listing import Query, Stretch, page_of
from app.store.store import View, Work
from app.store.tables import Base
from app.store.wakeup import WEBHOOKS_TOPIC, notify

_NOTHING_SIGNED_YET: Final[dict[str, Any]] = {
    "switched_off": "",
    "old_secret": None,
    "old_secret_until": None,
    "worker": None,
    "turn": 0,
    "lease_until": None,
    "failures": 0,
    "rests_until": None,
    "served_at": None,
}

WEBHOOKS: Final = Kind(
    name="webhooks",
    contract=Webhook,
    stored=StoredWebhook,
    table=Base.metadata.tables["webhooks"],
    key="id",
    folded={"name_folded": "name"},
    searched=("name_folded",),
    kept=_NOTHING_SIGNED_YET,
    shown=("switched_off",),
    filters={"active": Filter("active")},
    sorts={"name": "name_folded", "updated_at": "updated_at"},
    unlisted=frozenset({"secret", "old_secret", "worker"}),
)
DELIVERY: Final = "webhook deliveries"
_C = WEBHOOKS.table.c

_TOLD = select(
    DELIVERIES, MESSAGES.c.id.label("message"), MESSAGES.c.type, MESSAGES.c.at, MESSAGES.c.body
).join(MESSAGES, MESSAGES.c.pk == DELIVERIES.c.message_pk)


def create(work: Work, webhook: Webhook, secret: str) -> StoredWebhook:
    """Keep a new webhook with its secret."""
    first = {**WEBHOOKS.kept, "secret": secret, "secret_made_at": work.at}
    made = records.create(work, changed(WEBHOOKS, kept=first), webhook)
    announcing.forget(work)
    return cast("StoredWebhook", made)


def read(view: View, id: str) -> StoredWebhook:
    """A webhook.

    Raises
    ------
    NotStored
        If there is none.
    """
    return cast("StoredWebhook", records.require(view, WEBHOOKS, id))


def detail(view: View, id: str) -> WebhookDetail:
    """A webhook, and how its deliveries stand.

    Raises
    ------
    NotStored
        If there is none.
    """
    found = read(view, id)
    columns = _C.pk, _C.failures, _C.rests_until, _C.secret_made_at, _C.old_secret_until
    pk, failures, rests_until, made_at, old_until = view.connection.execute(
        select(*columns).where(_C.plant_pk == view.plant, _C.id == id)
    ).one()
    counted = select(DELIVERIES.c.status, func.count()).group_by(DELIVERIES.c.status)
    undelivered = DELIVERIES.c.status.in_((DeliveryStatus.PENDING, DeliveryStatus.DEAD))
    rows = view.connection.execute(counted.where(DELIVERIES.c.webhook_pk == pk, undelivered))
    counts = {status: count for status, count in rows}
    return WebhookDetail(
        item=found.item,
        version=found.version,
        updated_at=found.updated_at,
        switched_off=found.switched_off,
        pending=counts.get(DeliveryStatus.PENDING, 0),
        dead=counts.get(DeliveryStatus.DEAD, 0),
        failures=failures,
        rests_until=rests_until,
        secret_made_at=made_at,
        old_secret_until=old_until,
    )


def replace(work: Work, webhook: Webhook, if_version: int) -> StoredWebhook:
    """Change a webhook. Whatever it was switched off for or rests for is forgotten.

    Raises
    ------
    VersionConflict
        If it is of another version.
    """
    here = _C.plant_pk == work.plant, _C.id == webhook.id
    fresh = {"switched_off": "", "failures": 0, "rests_until": None}
    work.connection.execute(update(WEBHOOKS.table).where(*here).values(fresh))
    stored = records.replace(work, WEBHOOKS, webhook, if_version)
    announcing.forget(work)
    notify(work, WEBHOOKS_TOPIC)
    return cast("StoredWebhook", stored)


def switch_off(work: Work, id: str, why: str) -> None:
    """It wants to hear of nothing any more; what waits for it goes on waiting."""
    found = read(work, id)
    here = _C.plant_pk == work.plant, _C.id == id
    work.connection.execute(update(WEBHOOKS.table).where(*here).values(switched_off=why))
    off = found.item.model_copy(update={"active": False})
    records.replace(work, WEBHOOKS, off, found.version)
    announcing.forget(work)


def remove(work: Work, id: str, if_version: int) -> None:
    """Remove a webhook with all its deliveries; raises as `records.remove` does."""
    records.remove(work, WEBHOOKS, id, if_version)
    announcing.forget(work)


def change_secret(work: Work, id: str, secret: str, old_until: datetime) -> None:
    """Sign with another secret from now on; until a moment with the one before too.

    Raises
    ------
    NotStored
        If there is no such webhook.
    """
    work.hold(WEBHOOKS.name, [id])
    before = read(work, id)
    here = _C.plant_pk == work.plant, _C.id == id
    made_at = work.connection.execute(select(_C.secret_made_at).where(*here)).scalar_one()
    new = {
        _C.old_secret: _C.secret,
        _C.old_secret_until: old_until,
        _C.secret: secret,
        _C.secret_made_at: work.at,
        _C.version: before.version + 1,
        _C.updated_at: work.at,
    }
    work.connection.execute(update(WEBHOOKS.table).where(*here).values(new))
    told = (
        records.json_of(WEBHOOKS, before, {"secret_made_at": at.isoformat()}) for at in (made_at, work.at)
    )
    audit.record(work, WEBHOOKS.name, [Change(Action.UPDATED, id, *told)])


def listed(view: View, query: Query) -> Page[StoredWebhook]:
    """A page of the list of webhooks; raises as `records.listed` does."""
    return records.listed(view, WEBHOOKS, query)


def send_test(work: Work, id: str) -> str:
    """Send a message that tells of nothing but itself; the id of its delivery.

    Raises
    ------
    NotStored
        If there is no such webhook.
    Conflict
        If it is switched off.
    """
    if not read(work, id).item.active:
        raise Conflict("It is switched off: change it to active first.")
    return announcing.announce_to(work, _number(work, id), TEST, WebhookTested(webhook=id).model_dump())


def deliveries(view: View, id: str, status: DeliveryStatus | None, query: Query) -> Page[WebhookDelivery]:
    """Deliveries to a webhook, the latest first.

    Raises
    ------
    NotStored
        If there is no such webhook.
    BadInput
        If the cursor is none of this list.
    """
    of_these = [DELIVERIES.c.webhook_pk == _number(view, id)]
    asked = {"webhook": id}
    if status is not None:
        of_these.append(DELIVERIES.c.status == status)
        asked["status"] = status
    latest_first = Stretch(tuple(of_these), (DELIVERIES.c.pk,), backwards=True)
    query = changed(query, filters=asked)
    rows, following = page_of(view.connection, _TOLD, DELIVERIES, view.plant, [latest_first], query)
    return Page[WebhookDelivery](
        items=tuple(WebhookDelivery(**_fields(row)) for row in rows), next_cursor=following
    )


def delivery(view: View, id: str, delivery_id: str) -> WebhookDeliveryDetail:
    """A delivery with its message.

    Raises
    ------
    NotStored
        If there is no such webhook, or no such delivery to it.
    """
    here = DELIVERIES.c.webhook_pk == _number(view, id), DELIVERIES.c.id == delivery_id
    row = view.connection.execute(_TOLD.where(*here)).mappings().first()
    if row is None:
        raise NotStored(DELIVERY, delivery_id)
    return WebhookDeliveryDetail(**_fields(row), body=row["body"])


def resend(work: Work, id: str, delivery_id: str) -> WebhookDeliveryDetail:
    """Try a delivery again, now, and as often as a new one; the message stays the same.

    Raises
    ------
    NotStored
        If there is no such webhook, or no such delivery to it.
    """
    before = delivery(work, id, delivery_id)
    here = DELIVERIES.c.webhook_pk == _number(work, id), DELIVERIES.c.id == delivery_id
    work.connection.execute(update(DELIVERIES).where(*here).values(_again(work)))
    notify(work, WEBHOOKS_TOPIC)
    after = delivery(work, id, delivery_id)
    audit.record(work, DELIVERY, [Change(Action.UPDATED, delivery_id, _audited(before), _audited(after))])
    return after


def resend_dead(work: Work, id: str, since: datetime | None) -> int:
    """Try again all that was given up, of what happened since a moment; how many they are.

    Raises
    ------
    NotStored
        If there is no such webhook.
    """
    dead = [DELIVERIES.c.webhook_pk == _number(work, id), DELIVERIES.c.status == DeliveryStatus.DEAD]
    if since is not None:
        then = exists().where(MESSAGES.c.pk == DELIVERIES.c.message_pk, MESSAGES.c.at >= since)
        dead.append(then)
    count = work.connection.execute(update(DELIVERIES).where(*dead).values(_again(work))).rowcount
    if count:
        notify(work, WEBHOOKS_TOPIC)
        told = json.dumps({"resent": count})
        audit.record(work, DELIVERY, [Change(Action.UPDATED, id, None, told)])
    return count


def remove_delivery(work: Work, id: str, delivery_id: str) -> None:
    """Remove a delivery that is over.

    Raises
    ------
    NotStored
        If there is no such webhook, or no such delivery to it.
    Conflict
        If it is pending.
    """
    found = delivery(work, id, delivery_id)
    if found.status is DeliveryStatus.PENDING:
        raise Conflict("It is pending: it can be removed when it is over.")
    here = DELIVERIES.c.webhook_pk == _number(work, id), DELIVERIES.c.id == delivery_id
    work.connection.execute(delete(DELIVERIES).where(*here))
    audit.record(work, DELIVERY, [Change(Action.REMOVED, delivery_id, _audited(found), None)])


def forget_before(work: Work, moment: datetime, most: int) -> int:
    """Forget, of all plants, deliveries that were delivered before a moment and messages that nothing speaks
    of any more: so many of each at most. How many that were; what was given up stays.
    """
    old = (
        select(DELIVERIES.c.pk)
        .where(DELIVERIES.c.status == DeliveryStatus.DELIVERED, DELIVERIES.c.tried_at < moment)
        .order_by(DELIVERIES.c.tried_at)
        .limit(most)
    )
    count = work.connection.execute(delete(DELIVERIES).where(DELIVERIES.c.pk.in_(old))).rowcount
    told = exists().where(DELIVERIES.c.message_pk == MESSAGES.c.pk)
    mute = select(MESSAGES.c.pk).where(MESSAGES.c.at < moment, ~told).order_by(MESSAGES.c.at).limit(most)
    return count + work.connection.execute(delete(MESSAGES).where(MESSAGES.c.pk.in_(mute))).rowcount


def _number(view: View, id: str) -> int:
    here = _C.plant_pk == view.plant, _C.id == id
    number = view.connection.execute(select(_C.pk).where(*here)).scalar()
    if number is None:
        raise NotStored(WEBHOOKS.name, id)
    return int(number)


def _again(work: Work) -> dict[str, object]:
    return {"status": DeliveryStatus.PENDING, "attempts": 0, "due_at": work.at}


def _fields(row: RowMapping) -> dict[str, Any]:
    names = ("id", "message", "type", "at", "status", "attempts", "tried_at", "answered", "told", "took_ms")
    due_at = row["due_at"] if row["status"] is DeliveryStatus.PENDING else None
    return {**{name: row[name] for name in names}, "due_at": due_at}


def _audited(found: WebhookDeliveryDetail) -> str:
    """The message itself is no part of it: it stays as it is."""
    return found.model_dump_json(exclude={"body"}, exclude_none=True)
