"""How many requests one may make: a bucket of tokens for each name.

A name's bucket holds a minute's worth and fills evenly, so a burst is taken and a flood is not. Counted in
this process alone: several processes allow so much each.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

from app.api.problems import TOO_MANY, Refusal

MOST_NAMES = 50_000
"""Beyond so many names those that have a full bucket are forgotten, and then all."""


class RateLimit:
    """A bucket for each name, kept as the moment at which it would be full again.

    Parameters
    ----------
    per_minute
        Requests a minute for each name; None: any number.
    ticks
        A clock in seconds that never goes back.
    """

    def __init__(self, per_minute: int | None, ticks: Callable[[], float] = time.monotonic) -> None:
        self._per_minute = per_minute
        self._spacing_s = 60 / per_minute if per_minute else 0.0
        self._ticks = ticks
        self._full_at: dict[str, float] = {}

    def take(self, name: str) -> float:
        """Take a token; 0 if there was one, else after how many seconds there will be."""
        if self._per_minute is None:
            return 0.0
        now = self._ticks()
        full_at = max(self._full_at.get(name, now), now) + self._spacing_s
        wait_s = full_at - now - 60.0
        if wait_s > 1e-9:
            return wait_s
        if len(self._full_at) >= MOST_NAMES and name not in self._full_at:
            self._forget_full(now)
        self._full_at[name] = full_at
        return 0.0

    def require(self, name: str) -> None:
        """Take a token.

        Raises
        ------
        Refusal
            429 with Retry-After, if there is none.
        """
        wait_s = self.take(name)
        if wait_s > 0:
            again_s = math.ceil(wait_s)
            raise Refusal(
                TOO_MANY,
                f"More than {self._per_minute} requests a minute; ask again in {again_s} s.",
                {"Retry-After": str(again_s)},
            )

    def _forget_full(self, now: float) -> None:
        self._full_at = {name: full_at for name, full_at in self._full_at.items() if full_at > now}
        if len(self._full_at) >= MOST_NAMES:
            self._full_at.clear()
