"""How texts are compared in a search: by their beginnings, capital and small letters alike."""

from __future__ import annotations

import unicodedata

LONGEST_FOLDED = 200
"""Beyond it texts are not told apart; a database does not index texts of any length."""

_LAST_BEFORE_SURROGATES, _FIRST_BEHIND_SURROGATES, _LAST = 0xD7FF, 0xE000, 0x10FFFF


def fold(text: str) -> str:
    """A text as it is searched: without case, accents composed, look-alikes of the same letter one."""
    if text.isascii():
        return text.lower()[:LONGEST_FOLDED]
    composed = unicodedata.normalize("NFKC", text)
    return unicodedata.normalize("NFKC", composed.casefold())[:LONGEST_FOLDED]


def behind(prefix: str) -> str | None:
    """The first text, code point by code point, behind all that begin so; None if there is none.

    A range finds a prefix through an index, and takes % and _ for what they are.
    """
    for end in range(len(prefix) - 1, -1, -1):
        code = ord(prefix[end])
        if code < _LAST:
            following = _FIRST_BEHIND_SURROGATES if code == _LAST_BEFORE_SURROGATES else code + 1
            return prefix[:end] + chr(following)
    return None
