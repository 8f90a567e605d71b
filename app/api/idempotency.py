"""`Idempotency-Key`: the same request sent twice is done once and answered twice alike.

The answer is kept in the transaction of the effect, so that either both are there or neither is.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Protocol

from fastapi import Depends, Header
from starlette.requests import Request

from app.api.answers import Answer
from app.api.problems import KEY_REUSED, MALFORMED, Refusal
from app.api.visits import visit_of

_KEY = re.compile(r"[\x21-\x7e]{1,255}")
_KEY_PATTERN = "^[!-~]{1,255}$"
"""The same for who reads OpenAPI."""


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """What an `Idempotency-Key` was used for (`POST /api/v1/jobs`) and how that was answered."""

    route: str
    body_digest: str
    answer: Answer


class ReadBook(Protocol):
    """Answers that were given to one holder."""

    def kept(self, key: str) -> KeptAnswer | None:
        """What was kept for a key; None where it was not used yet."""


class AnswerBook(ReadBook, Protocol):
    """The same inside the transaction of the effect.

    Two requests with one key at once: `kept` of the second waits for the first, or `keep` raises `Conflict`.
    """

    def keep(self, key: str, kept: KeptAnswer) -> None:
        """Keep an answer with the effect."""


@dataclass(frozen=True, slots=True)
class Repeatable:
    """What is needed to tell a repeated request: its key, where it goes, what it holds."""

    key: str | None
    route: str
    request: Request

    @property
    def body_digest(self) -> str:
        return visit_of(self.request.scope).body_digest or ""


def repeated(asked: Repeatable, book: ReadBook) -> Answer | None:
    """The kept answer of the same request; None where it is a new one, or not to be repeated.

    Raises
    ------
    Refusal
        422, if the key was used for something else: another body, another address.
    """
    kept = None if asked.key is None else book.kept(asked.key)
    if kept is None:
        return None
    if (kept.route, kept.body_digest) != (asked.route, asked.body_digest):
        what = "another body" if kept.route == asked.route else kept.route
        raise Refusal(KEY_REUSED, f"This Idempotency-Key came with {what} before; take a new one.")
    return kept.answer


def answered(asked: Repeatable, book: AnswerBook, act: Callable[[], Answer]) -> Answer:
    """The kept answer of the same request, or that of doing it, which is then kept; raises as above."""
    before = repeated(asked, book)
    if before is not None:
        return before
    done = act()
    if asked.key is not None:
        book.keep(asked.key, KeptAnswer(asked.route, asked.body_digest, done))
    return done


def _repeatable(
    request: Request,
    idempotency_key: Annotated[
        str | None,
        Header(
            description="Any text of your own, up to 255 letters, one for each thing to be done: sent again "
            "with the same body it is answered as before and not done again.",
            json_schema_extra={"pattern": _KEY_PATTERN},
        ),
    ] = None,
) -> Repeatable:
    key = None if idempotency_key is None else idempotency_key.strip('"')
    if key is not None and not _KEY.fullmatch(key):
        raise Refusal(MALFORMED, "Idempotency-Key should be 1 to 255 visible ASCII letters, without blanks.")
    return Repeatable(key, f"{request.method} {request.url.path}", request)


def repeatable() -> Any:
    """Declare that a route may be repeated: `once: Annotated[Repeatable, repeatable()]`."""
    return Depends(_repeatable)
