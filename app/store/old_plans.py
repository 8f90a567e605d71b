"""Forgets planning requests that were over long ago, and sequences that they found and nobody released."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

from sqlalchemy import delete, exists, select

from app.contracts.planning_requests import RequestResult, RequestStatus
from app.store.releases import TABLE as RELEASES
from app.store.requests import REQUESTS
from app.store.sequences import SEQUENCES
from app.store.store import Work

_C, _S = REQUESTS.c, SEQUENCES.table.c
_OVER = [status for status in RequestStatus if status.is_over]


def forget_before(work: Work, moment: datetime, most: int) -> int:
    """Forget, of all plants, requests that were over before a moment, with the sequences that they found: so
    many requests at most, the oldest first. A sequence that was ever released stays. How many requests that
    were.
    """
    old = (
        select(_C.pk, _C.plant_pk, _C.result)
        .where(_C.status.in_(_OVER), _C.ended_at < moment)
        .order_by(_C.pk)
        .limit(most)
        .with_for_update(skip_locked=True)
    )
    rows = work.connection.execute(old).all()
    found: defaultdict[int, list[str]] = defaultdict(list)
    for _, plant, result in rows:
        found[plant] += _sequences(result)
    for plant, ids in found.items():
        _forget_sequences(work, plant, ids)
    work.connection.execute(delete(REQUESTS).where(_C.pk.in_([row.pk for row in rows])))
    return len(rows)


def _sequences(result: RequestResult | None) -> Iterator[str]:
    if result is not None:
        yield result.sequence
        yield from (alternative.sequence for alternative in result.alternatives)


def _forget_sequences(work: Work, plant: int, ids: list[str]) -> None:
    """Whoever is just releasing one of them comes first: only then it is looked whether that was done."""
    held = select(_S.pk).where(_S.plant_pk == plant, _S.id.in_(ids)).order_by(_S.pk).with_for_update()
    pks = work.connection.execute(held).scalars().all()
    is_released = exists().where(RELEASES.c.sequence_pk == _S.pk)
    work.connection.execute(delete(SEQUENCES.table).where(_S.pk.in_(pks), ~is_released))
