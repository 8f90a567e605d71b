"""A name that nobody knows, with the one that may have been meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

MOST_KNOWN_SHOWN = 12
LONGEST_COMPARED = 100


def unknown(what: str, value: str, known: Iterable[str]) -> str:
    """Say that a name is unknown, with the nearest known one or all there are."""
    names = sorted(known)
    if len(value) > LONGEST_COMPARED:
        return f"unknown {what}"
    near = difflib.get_close_matches(value, names, n=1, cutoff=0.5)
    if not near:
        folded = {name.casefold(): name for name in names}
        near = [folded[value.casefold()]] if value.casefold() in folded else []
    if near:
        return f"unknown {what}; the nearest known one is “{near[0]}”"
    if not names:
        return f"unknown {what}; there is none in the plant file"
    shown = ", ".join(names[:MOST_KNOWN_SHOWN])
    more = f" and {len(names) - MOST_KNOWN_SHOWN} more" if len(names) > MOST_KNOWN_SHOWN else ""
    return f"unknown {what}; known are {shown}{more}"
