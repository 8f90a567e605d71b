"""Islands: several searches of one problem side by side, which now and then tell each other their best.

Work is dealt out in rounds of fixed size. Threads decide only how many islands of a round run at the same
time, so a result depends on the islands, their seeds and the work alone, never on the clock or on threads.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from solver.search.stop import Stop

Score = tuple[float, ...]
"""How good an order is: compared item by item, less is better."""
Order = NDArray[Any]
"""An order as an island keeps it; only islands of the same problem read it."""
Halt = NDArray[np.uint8]
"""One flag that all islands of a search look at every few hundred moves: not 0 means return now."""

MOST_THREADS = 4
POLL_S = 0.02
"""How often limits and cancellation are looked at while a round runs."""
REPORT_EVERY_S = 0.25


class Island(Protocol):
    """One search with settings of its own."""

    def advance(self, work: int) -> int:
        """Do at most this much work and return how much it was; less only once the halt flag is up.

        What is found after a certain work must not depend on how much was allowed: then more work never
        makes a result worse.
        """
        ...

    @property
    def best(self) -> tuple[Score, Order]:
        """Best order so far with its score; there is one before the first work. Never gets worse."""
        ...

    def adopt(self, order: Order) -> None:
        """Go on from another island's order."""
        ...


@dataclass(frozen=True, slots=True)
class Rounds:
    """How work is dealt out.

    Parameters
    ----------
    quantum
        Work of an island in a round; at least 1. A round should take about a tenth of a second.
    exchange_every
        After so many rounds the worst island goes on from the best one's order; at least 1.
    """

    quantum: int
    exchange_every: int

    def __post_init__(self) -> None:
        if self.quantum < 1 or self.exchange_every < 1:
            raise ValueError(f"quantum and exchange_every must be at least 1, are {self}")


@dataclass(frozen=True, slots=True)
class Found:
    """The best order of all islands so far, and the work and time it took to get there."""

    score: Score
    order: Order
    work: int
    elapsed_s: float


def no_halt() -> Halt:
    """A halt flag that is down, to be shared by the islands of one search."""
    return np.zeros(1, dtype=np.uint8)


def usual_threads() -> int:
    """As many threads as there are processors, up to the number of islands that is usual."""
    return min(MOST_THREADS, os.cpu_count() or 1)


def search_islands(
    islands: Sequence[Island],
    rounds: Rounds,
    stop: Stop,
    halt: Halt,
    threads: int | None = None,
    on_progress: Callable[[Found], None] | None = None,
) -> Found:
    """Advance islands, round after round, until the stop is reached.

    Parameters
    ----------
    stop
        Counts the work of all islands together, which never exceeds its limit.
    halt
        The flag that these islands look at; raised here when time is over or the search is cancelled.
    threads
        Islands that run at the same time, at least 1; None for `usual_threads`.
    on_progress
        Told the best so far at the beginning, about four times a second, and at the end; called in the
        caller's thread.

    Raises
    ------
    ValueError
        Where there is no island or no thread.
    """
    threads = usual_threads() if threads is None else threads
    if not islands or threads < 1:
        raise ValueError(f"there must be an island and a thread, are {len(islands)} and {threads}")
    reporter = _Reporter(islands, stop, on_progress)
    reporter.report()
    with ThreadPoolExecutor(min(threads, len(islands)), "island") as pool:
        try:
            _rounds(islands, rounds, stop, halt, pool, reporter)
        finally:
            # Whatever ends the rounds, leaving the pool waits for its threads: they must come back soon.
            halt[0] = 1
    reporter.report()
    return reporter.found


class _Reporter:
    """Keeps the best of all islands and tells it a few times a second."""

    def __init__(
        self, islands: Sequence[Island], stop: Stop, on_progress: Callable[[Found], None] | None
    ) -> None:
        self._islands = islands
        self._stop = stop
        self._on_progress = on_progress
        self._reported_s = 0.0
        self.update()

    def update(self) -> None:
        """Look at the islands; only while none of them runs."""
        score, order = min((island.best for island in self._islands), key=lambda best: best[0])
        self.found = Found(score, order.copy(), self._stop.done, self._stop.elapsed_s)

    def report(self) -> None:
        self._reported_s = self._stop.elapsed_s
        if self._on_progress is not None:
            self._on_progress(self.found)

    def report_if_due(self) -> None:
        if self._stop.elapsed_s - self._reported_s >= REPORT_EVERY_S:
            self.report()


def _rounds(
    islands: Sequence[Island],
    rounds: Rounds,
    stop: Stop,
    halt: Halt,
    pool: ThreadPoolExecutor,
    reporter: _Reporter,
) -> None:
    round_idx = 0
    while not stop.reached:
        shares = _shares(len(islands), rounds.quantum, stop.work_left)
        running = [
            pool.submit(island.advance, work) for island, work in zip(islands, shares, strict=True) if work
        ]
        _wait(running, stop, halt, reporter)
        stop.count(sum(future.result() for future in running))
        reporter.update()
        round_idx += 1
        if halt[0]:
            return
        if round_idx % rounds.exchange_every == 0:
            _exchange(islands)


def _wait(running: list[Future[int]], stop: Stop, halt: Halt, reporter: _Reporter) -> None:
    while True:
        done, not_done = wait(running, timeout=POLL_S, return_when=FIRST_EXCEPTION)
        if not not_done:
            return
        if stop.reached or any(future.exception() for future in done):
            halt[0] = 1
        reporter.report_if_due()


def _shares(islands: int, quantum: int, work_left: int | None) -> list[int]:
    """Work of every island in a round: the quantum, or less where the limit is near."""
    if work_left is None or work_left >= islands * quantum:
        return [quantum] * islands
    each, over = divmod(work_left, islands)
    return [each + (island_idx < over) for island_idx in range(islands)]


def _exchange(islands: Sequence[Island]) -> None:
    """The worst island goes on from the best one's order; ties are broken by place."""
    by_score = sorted(range(len(islands)), key=lambda island_idx: (islands[island_idx].best[0], island_idx))
    best, worst = islands[by_score[0]], islands[by_score[-1]]
    if best.best[0] < worst.best[0]:
        worst.adopt(best.best[1].copy())
