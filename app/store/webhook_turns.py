"""Deliveries as those who deliver take them: all of a webhook are one deliverer's at a time.

A turn lasts as long as its lease, which every result renews. What a deliverer has to tell is written only
where the turn is still its own: whoever was taken for lost writes nothing, and the message is sent again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, and_, case, exists, literal_column, null, or_, select, update

from app.contracts.webhooks import DeliveryStatus
from app.store import webhooks
from app.store.announcing import DELIVERIES, MESSAGES
from app.store.announcing import WEBHOOKS as TABLE
from app.store.database_clock import later, now
from app.store.store import Actor, View, Work
from app.store.tables import Base

_C, _D = TABLE.c, DELIVERIES.c
_PLANTS = Base.metadata.tables["plants"]
_IS_PENDING: Final[ColumnElement[bool]] = _D.status == literal_column("'pending'")
"""Said in letters, as the partial index says it."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A webhook that a deliverer has to itself.

    Parameters
    ----------
    number
        How often one was given: with the worker the mark by which what is written is known as ours.
    secrets
        What messages are signed with now, the newest first.
    version
        The webhook's, when the turn began.
    fails
        Whether the last attempt failed.
    """

    pk: int
    number: int
    worker: str
    plant: str
    webhook: str
    url: str
    secrets: tuple[str, ...]
    version: int
    fails: bool


@dataclass(frozen=True, slots=True)
class Due:
    """A delivery that is to be tried now. `body` is sent letter by letter."""

    pk: int
    id: str
    attempts: int
    message: str
    body: str


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of an attempt.

    Parameters
    ----------
    answered
        The status of the answer; None where there was none.
    told
        What went wrong, or how the answer began.
    again_s
        After so many seconds the delivery is due again; None: it never is.
    rests_s
        For so long the webhook is left alone.
    """

    status: DeliveryStatus
    answered: int | None
    told: str
    took_ms: int
    again_s: float | None = None
    rests_s: float = 0.0


def anything_waits(view: View) -> bool:
    """Whether there is any delivery that is not done, be it due or not; a look that keeps nobody waiting."""
    return view.connection.execute(select(_D.pk).where(_IS_PENDING).limit(1)).first() is not None


def take_turn(work: Work, worker: str, lease_s: float, *, only_well: bool = False) -> Turn | None:
    """Take a webhook, of whatever plant, that has a delivery due: one of those whose last attempt went well
    before the others, and of these that which was served longest ago.

    Parameters
    ----------
    worker
        A name that no other deliverer has or had.
    lease_s
        For so many seconds nobody else takes it.
    only_well
        Leave those alone whose last attempt failed.
    """
    waiting = TABLE.alias("waiting")
    chosen = (
        select(waiting.c.pk)
        .where(*_is_free(work, waiting.c), _has_due(work, waiting.c.pk))
        .order_by(case((waiting.c.failures > 0, 1), else_=0), waiting.c.served_at.nulls_first(), waiting.c.pk)
        .limit(1)
        .with_for_update(skip_locked=True)
    )
    if only_well:
        chosen = chosen.where(waiting.c.failures == 0)
    taken = {"worker": worker, "turn": _C.turn + 1, "lease_until": later(work, lease_s)}
    of_plant = select(_PLANTS.c.name).where(_PLANTS.c.pk == _C.plant_pk).correlate(TABLE).scalar_subquery()
    old_signs = case((_C.old_secret_until > now(work), _C.old_secret), else_=null())
    shown = (_C.pk, _C.turn, _C.id, _C.url, _C.version, _C.failures, _C.secret)
    row = work.connection.execute(
        update(TABLE)
        .where(_C.pk == chosen.scalar_subquery())
        .values(taken)
        .returning(*shown, of_plant.label("plant"), old_signs.label("old_secret"))
    ).first()
    if row is None:
        return None
    return Turn(
        pk=row.pk,
        number=row.turn,
        worker=worker,
        plant=row.plant,
        webhook=row.id,
        url=row.url,
        secrets=tuple(secret for secret in (row.secret, row.old_secret) if secret is not None),
        version=row.version,
        fails=row.failures > 0,
    )


def due(work: Work, turn: Turn, most: int) -> Sequence[Due]:
    """What of a turn is to be delivered now, the longest due first."""
    columns = _D.pk, _D.id, _D.attempts, MESSAGES.c.id, MESSAGES.c.body
    chosen = (
        select(*columns)
        .join(MESSAGES, MESSAGES.c.pk == _D.message_pk)
        .where(_D.webhook_pk == turn.pk, _IS_PENDING, _D.due_at <= _moment(work))
        .order_by(_D.due_at, _D.pk)
        .limit(most)
    )
    return [Due(*row) for row in work.connection.execute(chosen)]


def tell(work: Work, turn: Turn, delivery: Due, tried: Tried, lease_s: float) -> bool:
    """Write down what came of an attempt, and go on with the turn.

    False: it is not ours any more, and nothing was written; or the webhook was changed meanwhile, and what
    follows is for whoever reads it anew.
    """
    well = tried.status is DeliveryStatus.DELIVERED
    rests = later(work, tried.rests_s) if tried.rests_s else None
    change = {
        "lease_until": later(work, lease_s),
        "served_at": now(work),
        "failures": 0 if well else _C.failures + 1,
        "rests_until": None if well else rests,
    }
    held = update(TABLE).where(*_fence(turn)).values(change).returning(_C.version)
    version = work.connection.execute(held).scalar()
    if version is None:
        return False
    result: dict[str, Any] = {
        "status": tried.status,
        "attempts": _D.attempts + 1,
        "tried_at": now(work),
        "answered": tried.answered,
        "told": tried.told,
        "took_ms": tried.took_ms,
    }
    if tried.again_s is not None:
        result["due_at"] = later(work, tried.again_s)
    work.connection.execute(update(DELIVERIES).where(_D.pk == delivery.pk).values(result))
    return bool(version == turn.version)


def switch_off(work: Work, turn: Turn, why: str) -> None:
    """The receiver wants no more: the webhook is off from now on, if the turn is still ours."""
    held = select(_C.pk).where(*_fence(turn)).with_for_update()
    if work.connection.execute(held).first() is not None:
        webhooks.switch_off(work, turn.webhook, why)


def end_turn(work: Work, turn: Turn) -> None:
    """Let others take the webhook, if the turn is still ours."""
    work.connection.execute(update(TABLE).where(*_fence(turn)).values(lease_until=None))


def actor(turn: Turn) -> Actor:
    """Who delivers, in the plant of the webhook."""
    return Actor(turn.worker, turn.plant)


def _is_free(work: Work, columns: Any) -> tuple[ColumnElement[bool], ...]:
    """Whether a webhook wants to be told things and nobody is at it."""
    moment = _moment(work)
    return (
        columns.active,
        or_(columns.lease_until.is_(None), columns.lease_until <= moment),
        or_(columns.rests_until.is_(None), columns.rests_until <= moment),
    )


def _has_due(work: Work, webhook: ColumnElement[int]) -> ColumnElement[bool]:
    return exists().where(and_(_D.webhook_pk == webhook, _IS_PENDING, _D.due_at <= _moment(work)))


def _moment(work: Work) -> ColumnElement[datetime]:
    """The moment, told once for a statement: an index is no help with a clock that goes on meanwhile."""
    return select(now(work)).scalar_subquery()


def _fence(turn: Turn) -> tuple[ColumnElement[bool], ...]:
    """Whether a webhook is still that of a turn."""
    return _C.pk == turn.pk, _C.worker == turn.worker, _C.turn == turn.number
