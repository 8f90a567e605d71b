"""How many examples of a property are tried: of what a test names two fifths, and all of them with
`HYPOTHESIS_PROFILE=explore`.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from math import ceil
from typing import Final, TypeVar

from hypothesis import settings

Example = TypeVar("Example")

PROFILE: Final = os.environ.get("HYPOTHESIS_PROFILE", "same")
SHARE: Final = 0.4 if PROFILE == "same" else 1.0


def examples(most: int) -> settings:
    """So many drawn ones at most."""
    return settings(max_examples=ceil(SHARE * most))


def first(listed: Sequence[Example]) -> Sequence[Example]:
    """Of listed ones, such as seeds, those that come first."""
    return listed[: ceil(SHARE * len(listed))]
