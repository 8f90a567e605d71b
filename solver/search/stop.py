"""When a search ends: the only place in the solver that knows a clock."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field


@dataclass
class Stop:
    """Limits of a search.

    Parameters
    ----------
    time_s
        Wall-clock limit in seconds from now on; None for none.
    work
        Sequences to be costed or moves to be tried, after which no new step is begun; None for no limit.
        With this limit alone a result depends only on problem, weights and seed.
    cancelled
        Asked now and then; a true answer ends the search, which keeps what it has.

    Raises
    ------
    ValueError
        Where a limit is negative, infinite or not a number, where `work` is not whole, or where both
        limits are missing.
    """

    time_s: float | None = None
    work: int | None = None
    cancelled: Callable[[], bool] = lambda: False
    done: int = field(default=0, init=False)
    _share: float = field(default=1.0, init=False)
    _kept_s: float = field(default=0.0, init=False)
    _started_s: float = field(default_factory=time.monotonic, init=False)

    def __post_init__(self) -> None:
        if self.time_s is not None and not 0 <= self.time_s < math.inf:
            raise ValueError(f"time_s must be at least 0 and finite, is {self.time_s}")
        if self.work is not None and (self.work < 0 or self.work != self.work // 1 or math.isinf(self.work)):
            raise ValueError(f"work must be a whole number of at least 0, is {self.work}")
        if self.time_s is None and self.work is None:
            raise ValueError("give time_s, work or both: a search without a limit does not end")

    def count(self, work: int = 1) -> None:
        """Note costed sequences or tried moves."""
        self.done += work

    @property
    def work_left(self) -> int | None:
        """Work until the limit of work is reached; None where there is no such limit."""
        return None if self.work is None else max(0, int(self.work * self._share) - self.done)

    @property
    def elapsed_s(self) -> float:
        """Seconds since the search began."""
        return time.monotonic() - self._started_s

    @property
    def used(self) -> float:
        """Share of the limits in force that is used up, 0 to 1: of the limit that is nearest its end."""
        return self._used_of(self._share, self._kept_s)

    @property
    def used_of_all(self) -> float:
        """The same of the limits as they were given, whatever is kept for what follows."""
        return self._used_of(1.0, 0.0)

    def _used_of(self, share: float, kept_s: float) -> float:
        shares = []
        if self.work is not None:
            of_work = self.work * share
            shares.append(self.done / of_work if of_work else 1.0)
        if self.time_s is not None:
            of_time_s = self.time_s * share
            shares.append((self.elapsed_s + kept_s) / of_time_s if of_time_s else 1.0)
        return min(1.0, max(shares))

    @property
    def reached(self) -> bool:
        """Whether a limit is reached or the search was cancelled."""
        if self.work_left == 0:
            return True
        if self.time_s is not None and self.elapsed_s >= self.time_s * self._share - self._kept_s:
            return True
        return self.cancelled()

    @contextmanager
    def reserve(self, share: float) -> Iterator[None]:
        """Within this block the limits are reached early by a share that is kept for what follows."""
        before = self._share
        self._share = before * (1 - share)
        try:
            yield
        finally:
            self._share = before

    @contextmanager
    def reserve_time(self, time_s: float) -> Iterator[None]:
        """Within this block the time limit is reached early by so much, which is kept for what follows."""
        before = self._kept_s
        self._kept_s = before + time_s
        try:
            yield
        finally:
            self._kept_s = before
