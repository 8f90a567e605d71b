"""Answers kept in the store, in the transaction of their effect."""

from __future__ import annotations

from app.api.answers import Answer
from app.api.idempotency import KeptAnswer
from app.security import Holder
from app.store import idempotency
from app.store.idempotency import GivenAnswer
from app.store.store import View, Work


class KeptAnswers:
    """The answers to a holder's requests. Two holders may use the same `Idempotency-Key`."""

    def __init__(self, view: View, who: Holder) -> None:
        self._view = view
        self._holder = who.key_id

    def kept(self, key: str) -> KeptAnswer | None:
        """What was kept for a key; None where it was not used yet."""
        return _kept(idempotency.given(self._view, self._holder, key))


class NewAnswers:
    """The same, where answers are kept too: whoever asks with the same key meanwhile waits."""

    def __init__(self, work: Work, who: Holder) -> None:
        self._work = work
        self._holder = who.key_id

    def kept(self, key: str) -> KeptAnswer | None:
        """What was kept for a key; None where it was not used yet."""
        return _kept(idempotency.given_or_awaited(self._work, self._holder, key))

    def keep(self, key: str, kept: KeptAnswer) -> None:
        """Keep an answer with the effect."""
        answer = kept.answer
        given = GivenAnswer(
            kept.route, kept.body_digest, answer.status, tuple(answer.headers.items()), answer.body
        )
        idempotency.give(self._work, self._holder, key, given)


def _kept(found: GivenAnswer | None) -> KeptAnswer | None:
    if found is None:
        return None
    return KeptAnswer(found.request, found.body_hash, Answer(found.status, found.body, dict(found.headers)))
