"""What is known of one request while it is answered."""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass
from typing import Any

from starlette.types import Scope

from app.security import Holder

_SCOPE_KEY = "runwright.visit"
_REQUEST_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{7,63}")


@dataclass(slots=True)
class Visit:
    """One request: its id, its path's template, and what was found out about it so far.

    Parameters
    ----------
    request_id
        Stands in the answer, in every line of the log and in the audit.
    holder
        Whoever asks; None until the key has been looked at.
    body_digest
        SHA-256 of the body as it was before any compression, in hex; None until it has been read.
    """

    request_id: str
    holder: Holder | None = None
    body_digest: str | None = None


def begin_visit(scope: Scope, asked_id: str | None) -> Visit:
    """Open the visit of a request; an id that was sent is kept if it is short and plain."""
    given = asked_id if asked_id and _REQUEST_ID.fullmatch(asked_id) else None
    visit = Visit(given or secrets.token_hex(16))
    scope[_SCOPE_KEY] = visit
    return visit


def visit_of(scope: Scope) -> Visit:
    """The visit of a request; one is opened where no middleware has."""
    visit: Any = scope.get(_SCOPE_KEY)
    return visit if isinstance(visit, Visit) else begin_visit(scope, None)
