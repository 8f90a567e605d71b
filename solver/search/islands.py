"""Islands: several searches of one problem side by side, which now and then tell each other their best.

Work is dealt out in rounds of sizes laid down beforehand. Threads decide only how many islands of a round
run at the same time, so a result depends on the islands, their seeds and the work alone, never on the clock
or on threads.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from functools import partial
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from solver.search.stop import Stop

Score = tuple[float, ...]
"""How good an order is: compared item by item, less is better."""
Order = NDArray[Any]
"""An order as an island keeps it; only islands of the same problem read it."""
Halt = NDArray[np.uint8]
"""One flag that all islands of a search look at every few hundred moves: not 0 means return now."""

Result = TypeVar("Result")
Task = Callable[[], object]
"""Something done before the first round: it takes no work and comes back soon once the halt flag is up."""

Scored = tuple[Score, Order]
Beside = Callable[["Found"], Callable[[], Scored | None] | None]
"""Asked before a round, with the best so far: for something to be done beside the islands, which comes back
soon once the halt flag is up, with an order that may be better, or None.
"""


def no_beside(found: Found) -> None:
    """Nothing is done beside the islands."""


MOST_THREADS = 4
SHORT_ROUNDS = 4
"""Rounds before those of full length, each half as long as the next, so that what is found at once is told
at once."""
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
        Work of an island in a round of full length; at least 1. That should take about a tenth of a second.
    exchange_every
        After so many rounds of full length the worst island goes on from the best one's order; at least 1.
    """

    quantum: int
    exchange_every: int

    def __post_init__(self) -> None:
        if self.quantum < 1 or self.exchange_every < 1:
            raise ValueError(f"quantum and exchange_every must be at least 1, are {self}")

    def work(self, round_idx: int) -> int:
        """Work of an island in a round."""
        return max(1, self.quantum >> max(0, SHORT_ROUNDS - round_idx))

    def exchange_after(self, round_idx: int) -> bool:
        """Whether islands tell each other their best behind a round."""
        full_rounds = round_idx + 1 - SHORT_ROUNDS
        return full_rounds > 0 and full_rounds % self.exchange_every == 0


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
    opening: Iterable[Sequence[Task]] = (),
    least: Callable[[], Score | None] = lambda: None,
    beside: Beside = no_beside,
) -> Found:
    """Advance islands, round after round, until the stop is reached, or what cannot be undercut.

    Parameters
    ----------
    stop
        Counts the work of all islands together, which never exceeds its limit.
    halt
        The flag that these islands look at; raised here when time is over or the search is cancelled.
    threads
        Islands that run at the same time, at least 1; None for `usual_threads`.
    on_progress
        Told the best so far at the beginning, as soon as there is a better one, then about four times a
        second, and at the end; called in the caller's thread.
    opening
        What islands do before the first round: stages one after the other, the tasks of a stage side by side,
        so no two of a stage may touch the same island. The next stage is asked for when one is done.
    least
        Tells a score that no order undercuts, once there is one: the search ends behind the round that
        reaches it.
    beside
        What is done beside the rounds, in a thread of its own, one thing after the other. Without a time
        limit a round waits for it, so that a result depends on the work alone.

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
    with (
        ThreadPoolExecutor(min(threads, len(islands)), "island") as pool,
        ThreadPoolExecutor(1, "beside") as second_pool,
    ):
        try:
            run = _Run(pool, stop, halt, reporter, least)
            run.open(opening)
            run.rounds(islands, rounds, _Companion(second_pool, beside))
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
        self._told_better = False
        self._beside: list[Scored] = []
        self.update()
        self._first_score = self.found.score

    def consider(self, order: Scored) -> None:
        """An order that was found beside the islands, which go their own ways."""
        self._beside.append(order)

    def update(self) -> None:
        """Look at the islands; only while none of them runs."""
        found = (*(island.best for island in self._islands), *self._beside)
        score, order = min(found, key=lambda best: best[0])
        self.found = Found(score, order.copy(), self._stop.done, self._stop.elapsed_s)

    def report(self) -> None:
        self._reported_s = self._stop.elapsed_s
        self._told_better = self._is_better
        if self._on_progress is not None:
            self._on_progress(self.found)

    def report_if_due(self) -> None:
        is_first_better = self._is_better and not self._told_better
        if is_first_better or self._stop.elapsed_s - self._reported_s >= REPORT_EVERY_S:
            self.report()

    @property
    def _is_better(self) -> bool:
        """Whether there is something better than at the beginning."""
        return self.found.score < self._first_score


class _Companion:
    """What is done beside the rounds."""

    def __init__(self, pool: ThreadPoolExecutor, beside: Beside) -> None:
        self._pool = pool
        self._beside = beside
        self.running: list[Future[Scored | None]] = []

    def begin(self, found: Found) -> None:
        """Begin what there is to do, unless something still runs."""
        if not self.running and (task := self._beside(found)) is not None:
            self.running = [self._pool.submit(task)]

    def taken(self) -> Scored | None:
        """What came out, once something has."""
        if not self.running or not self.running[0].done():
            return None
        return self.running.pop().result()


class _Run:
    """The threads of a search, watched by its limits."""

    def __init__(
        self,
        pool: ThreadPoolExecutor,
        stop: Stop,
        halt: Halt,
        reporter: _Reporter,
        least: Callable[[], Score | None],
    ) -> None:
        self._least = least
        self._pool = pool
        self._stop = stop
        self._halt = halt
        self._reporter = reporter

    def open(self, stages: Iterable[Sequence[Task]]) -> None:
        for stage in stages:
            if self._ended:
                return
            self._side_by_side(stage)
            self._look()

    def rounds(self, islands: Sequence[Island], rounds: Rounds, companion: _Companion) -> None:
        round_idx = 0
        while not self._ended:
            companion.begin(self._reporter.found)
            shares = _shares(len(islands), rounds.work(round_idx), self._stop.work_left)
            advances = [
                partial(island.advance, work) for island, work in zip(islands, shares, strict=True) if work
            ]
            self._stop.count(sum(self._side_by_side(advances)))
            if self._stop.time_s is None:
                # The work may be done by now; that must not cut short what is done beside its last round.
                self._wait_for(companion.running, self._stop.cancelled)
            if (found := companion.taken()) is not None:
                self._reporter.consider(found)
            self._look()
            if rounds.exchange_after(round_idx) and not self._halt[0]:
                _exchange(islands)
            round_idx += 1

    @property
    def _ended(self) -> bool:
        least = self._least()
        nothing_left = least is not None and self._reporter.found.score <= least
        return nothing_left or bool(self._halt[0]) or self._stop.reached

    def _side_by_side(self, tasks: Iterable[Callable[[], Result]]) -> list[Result]:
        """What tasks come to, once all are done."""
        running = [self._pool.submit(task) for task in tasks]
        self._wait_for(running, lambda: self._stop.reached)
        return [future.result() for future in running]

    def _wait_for(self, running: Sequence[Future[Any]], ended: Callable[[], bool]) -> None:
        while True:
            done, not_done = wait(running, timeout=POLL_S, return_when=FIRST_EXCEPTION)
            if not not_done:
                return
            if ended() or any(future.exception() for future in done):
                self._halt[0] = 1
            self._reporter.report_if_due()

    def _look(self) -> None:
        self._reporter.update()
        self._reporter.report_if_due()


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
