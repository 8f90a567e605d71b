"""Where the next page of a list begins, as an opaque text.

A cursor names the list it belongs to and the sort values of the last item that was seen. It is checked, not
secret: whoever makes one up gets nothing but another place in the same list.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from dataclasses import dataclass

from app.errors import BadInput, Fault

Place = str | int | bool | None

_LONGEST_CURSOR = 2000


@dataclass(frozen=True, slots=True)
class Cursor:
    """The place after an item of a list.

    Parameters
    ----------
    listed
        What is listed and how: resource, filters, sort. A cursor of another list is refused.
    after
        Sort values and key of the last item seen, as plain texts and integers.
    """

    listed: str
    after: tuple[Place, ...]

    def text(self) -> str:
        """The cursor as it is sent."""
        plain = json.dumps([_fingerprint(self.listed), *self.after], separators=(",", ":"))
        return base64.urlsafe_b64encode(plain.encode()).decode().rstrip("=")


def read_cursor(text: str, listed: str) -> Cursor:
    """A cursor that was sent.

    Raises
    ------
    BadInput
        If it is no cursor, or one of another list.
    """
    if len(text) > _LONGEST_CURSOR or not text.isascii():
        raise _refused()
    try:
        plain = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
        fingerprint, *after = json.loads(plain)
    except (ValueError, TypeError, binascii.Error, RecursionError):
        raise _refused() from None
    if fingerprint != _fingerprint(listed) or not all(_is_place(value) for value in after):
        raise _refused()
    return Cursor(listed, tuple(after))


def _is_place(value: object) -> bool:
    """A plain value that a database takes: no text with NUL or half a character, no huge integer."""
    if isinstance(value, str):
        return "\0" not in value and not any("\ud800" <= letter <= "\udfff" for letter in value)
    if isinstance(value, int):
        return abs(value) < 2**63
    return value is None


def _fingerprint(listed: str) -> str:
    return hashlib.sha256(listed.encode()).hexdigest()[:12]


def _refused() -> BadInput:
    right = (
        "should be the next cursor of the same list, with the same filters and sort; leave it out to begin"
    )
    return BadInput([Fault(right, field="query.cursor")])
