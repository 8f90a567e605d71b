"""Answers by a key of the asker's own, so that a request that comes again is not done again."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, insert, select

from app.store.store import View, Work
from app.store.tables import Base

TABLE = Base.metadata.tables["answers"]


@dataclass(frozen=True, slots=True)
class GivenAnswer:
    """What was asked and what was answered.

    Parameters
    ----------
    request
        Method and path.
    body_hash
        Of what was sent.
    """

    request: str
    body_hash: str
    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes


def given(view: View, holder: str, key: str) -> GivenAnswer | None:
    """The answer that was given to a holder under a key; None if none was."""
    columns = TABLE.c.request, TABLE.c.body_hash, TABLE.c.status, TABLE.c.headers, TABLE.c.body
    here = TABLE.c.plant_pk == view.plant, TABLE.c.holder == holder, TABLE.c.key == key
    row = view.connection.execute(select(*columns).where(*here)).first()
    if row is None:
        return None
    request, body_hash, status, headers, body = row
    told = tuple((name, value) for name, value in json.loads(headers))
    return GivenAnswer(request, body_hash, status, told, bytes(body))


def given_or_awaited(work: Work, holder: str, key: str) -> GivenAnswer | None:
    """The same; whoever asks with the same key meanwhile waits until this transaction ends."""
    work.hold("answers", [f"{holder} {key}"])
    return given(work, holder, key)


def give(work: Work, holder: str, key: str, answer: GivenAnswer) -> None:
    """Keep an answer with its effect."""
    row = {
        "plant_pk": work.plant,
        "holder": holder,
        "key": key,
        "request": answer.request,
        "body_hash": answer.body_hash,
        "status": answer.status,
        "headers": json.dumps(answer.headers),
        "body": answer.body,
        "created_at": work.at,
    }
    work.connection.execute(insert(TABLE), [row])


def forget_before(work: Work, moment: datetime) -> int:
    """Forget answers of all plants that are older; how many they were."""
    return work.connection.execute(delete(TABLE).where(TABLE.c.created_at < moment)).rowcount
