"""What has happened is written down for those who want to hear of it, in the transaction of the effect: both
are there, or neither is.

Which types a plant's webhooks want is looked up again after `REMEMBERED_S`, so that what nobody wants to hear
of costs nothing. A new webhook therefore hears of what happens from that moment on, in the process in which
it was made at once.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from time import monotonic
from typing import Final
from weakref import WeakKeyDictionary

from sqlalchemy import Engine, bindparam, select

from app.contracts.base import plain_number
from app.contracts.webhooks import DeliveryStatus
from app.store.many_rows import insert_rows
from app.store.rows import Row, new_numbers
from app.store.store import View, Work
from app.store.tables import Base
from app.store.wakeup import WEBHOOKS_TOPIC, notify

REMEMBERED_S: Final = 0.5
"""How long what is wanted is taken as it was read last, as keys are."""

WEBHOOKS: Final = Base.metadata.tables["webhooks"]
MESSAGES: Final = Base.metadata.tables["webhook_messages"]
DELIVERIES: Final = Base.metadata.tables["webhook_deliveries"]

_ACTIVE = select(WEBHOOKS.c.pk, WEBHOOKS.c.types).where(
    WEBHOOKS.c.plant_pk == bindparam("plant"), WEBHOOKS.c.active
)
_HELD = _ACTIVE.order_by(WEBHOOKS.c.pk).with_for_update(read=True, key_share=True)
"""The same on PostgreSQL: nobody removes them before the transaction ends. SQLite knows no such words."""

_wanted: WeakKeyDictionary[Engine, dict[int, tuple[float, frozenset[str]]]] = WeakKeyDictionary()


def announce(
    work: Work, event_type: str, data: Sequence[Mapping[str, object]], plant: int | None = None
) -> None:
    """Tell every active webhook that wants this type of each of these events.

    Parameters
    ----------
    data
        What is told of each: values of JSON, and moments, decimals and words of ours.
    plant
        Number of the plant in which they happened; that of the transaction where none is said.
    """
    plant = work.plant if plant is None else plant
    if not data or event_type not in _wanted_types(work, plant):
        return
    receivers = [pk for pk, types in _active(work, plant) if event_type in types]
    if receivers:
        messages = _messages(work, plant, event_type, data)
        insert_rows(work.connection, MESSAGES, messages)
        deliveries = [
            _delivery(work, plant, receiver, row["pk"]) for row in messages for receiver in receivers
        ]
        insert_rows(work.connection, DELIVERIES, deliveries)
        notify(work, WEBHOOKS_TOPIC)


def announce_to(work: Work, webhook: int, event_type: str, data: Mapping[str, object]) -> str:
    """Tell one webhook of one event, whatever it wants to hear of; the id of the delivery."""
    messages = _messages(work, work.plant, event_type, [data])
    insert_rows(work.connection, MESSAGES, messages)
    delivery = _delivery(work, work.plant, webhook, messages[0]["pk"])
    insert_rows(work.connection, DELIVERIES, [delivery])
    notify(work, WEBHOOKS_TOPIC)
    return str(delivery["id"])


def wants(view: View, *event_types: str) -> bool:
    """Whether any active webhook of the plant wants to hear of one of these types."""
    return not _wanted_types(view, view.plant).isdisjoint(event_types)


def forget(view: View) -> None:
    """What the plant's webhooks want has changed: look it up anew."""
    _wanted.get(view.connection.engine, {}).pop(view.plant, None)


def _wanted_types(view: View, plant: int) -> frozenset[str]:
    of_plants = _wanted.setdefault(view.connection.engine, {})
    known = of_plants.get(plant)
    now = monotonic()
    if known is not None and now < known[0]:
        return known[1]
    rows = view.connection.execute(_ACTIVE, {"plant": plant})
    found = frozenset(str(one) for _, types in rows for one in types)
    of_plants[plant] = (now + REMEMBERED_S, found)
    return found


def _active(work: Work, plant: int) -> list[tuple[int, frozenset[str]]]:
    rows = work.connection.execute(_HELD, {"plant": plant})
    return [(pk, frozenset(types)) for pk, types in rows]


def _messages(work: Work, plant: int, event_type: str, data: Sequence[Mapping[str, object]]) -> list[Row]:
    numbers = new_numbers(work.connection, MESSAGES, len(data))
    return [
        {
            "pk": number,
            "plant_pk": plant,
            "id": f"msg_{uuid.uuid4().hex}",
            "type": event_type,
            "at": work.at,
            "body": _body(event_type, work.at, told),
        }
        for number, told in zip(numbers, data, strict=True)
    ]


def _delivery(work: Work, plant: int, webhook: int, message: int) -> Row:
    return {
        "plant_pk": plant,
        "webhook_pk": webhook,
        "message_pk": message,
        "id": str(uuid.uuid4()),
        "status": DeliveryStatus.PENDING,
        "attempts": 0,
        "due_at": work.at,
        "told": "",
    }


def _body(event_type: str, at: datetime, data: Mapping[str, object]) -> str:
    """A message as it is sent and signed, letter by letter."""
    told = {"type": event_type, "timestamp": _moment(at), "data": data}
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"), default=_plain)


def _plain(value: object) -> object:
    """What JSON has no words for."""
    match value:
        case datetime():
            return _moment(value)
        case Decimal():
            return plain_number(value)
        case _:
            raise TypeError(f"{type(value).__name__} cannot be told in a message")


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")
