"""Answers kept in the store, in the transaction of their effect."""

from __future__ import annotations

from app.api.answers import Answer
from app.api.idempotency import KeptAnswer
from app.security import Holder
from app.store import idempotency
from app.store.idempotency import GivenAnswer
from app.store.store import Work


class KeptAnswers:
    """The answers to a holder's requests. Two holders may use the same `Idempotency-Key`."""

    def __init__(self, work: Work, who: Holder) -> None:
        self._work = work
        self._holder = who.key_id

    def kept(self, key: str) -> KeptAnswer | None:
        """What was kept for a key; None where it was not used yet."""
        found = idempotency.given(self._work, self._holder, key)
        if found is None:
            return None
        answer = Answer(found.status, found.body, dict(found.headers))
        return KeptAnswer(found.request, found.body_hash, answer)

    def keep(self, key: str, kept: KeptAnswer) -> None:
        """Keep an answer with the effect."""
        answer = kept.answer
        given = GivenAnswer(
            kept.route, kept.body_digest, answer.status, tuple(answer.headers.items()), answer.body
        )
        idempotency.give(self._work, self._holder, key, given)
