"""Islands: how work is dealt out, exchanged, stopped."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

import numpy as np
import pytest

from solver.search.islands import Found, Halt, Island, Order, Rounds, Score, no_halt, search_islands
from solver.search.stop import Stop


@dataclass
class Digger:
    """An island that gets better by a fixed amount for every unit of work."""

    depth: float
    speed: float
    done: int = 0
    allowed: list[int] = field(default_factory=list)
    adopted: list[int] = field(default_factory=list)

    def advance(self, work: int) -> int:
        self.allowed.append(work)
        self.done += work
        self.depth += self.speed * work
        return work

    @property
    def best(self) -> tuple[Score, Order]:
        return (-self.depth,), np.array([int(self.depth)])

    def adopt(self, order: Order) -> None:
        self.adopted.append(int(order[0]))


@dataclass
class Endless:
    """An island that works until the halt flag is up."""

    halt: Halt

    def advance(self, work: int) -> int:
        pause = threading.Event()
        while not self.halt[0]:
            pause.wait(0.001)
        return 1

    @property
    def best(self) -> tuple[Score, Order]:
        return (0.0,), np.array([0])

    def adopt(self, order: Order) -> None:
        pass


class Broken(Digger):
    """An island that fails."""

    def advance(self, work: int) -> int:
        raise RuntimeError("this island sank")


def _searched(islands: list[Digger], work: int, exchange_every: int = 2, threads: int = 2) -> Found:
    return search_islands(islands, Rounds(100, exchange_every), Stop(work=work), no_halt(), threads)


def test_every_island_gets_the_quantum_and_the_last_round_what_is_left() -> None:
    islands = [Digger(0, 1), Digger(0, 2), Digger(0, 3)]
    found = _searched(islands, 305 + 600)
    assert [island.allowed for island in islands] == [
        [100, 100, 100, 2],
        [100, 100, 100, 2],
        [100, 100, 100, 1],
    ]
    assert found.work == 905


@pytest.mark.parametrize("work", [0, 1, 2, 3, 299, 300, 301, 10_000])
def test_all_islands_together_do_exactly_the_work_allowed(work: int) -> None:
    islands = [Digger(0, 1), Digger(0, 1), Digger(0, 1)]
    assert _searched(islands, work).work == sum(island.done for island in islands) == work


def test_the_worst_island_goes_on_from_the_best_one_every_other_round() -> None:
    islands = [Digger(0, 2), Digger(0, 9), Digger(0, 1)]
    _searched(islands, 1200)
    assert [island.adopted for island in islands] == [[], [], [1800, 3600]]


def test_islands_that_are_equally_good_are_left_alone() -> None:
    islands = [Digger(5, 1), Digger(5, 1)]
    _searched(islands, 1000)
    assert [island.adopted for island in islands] == [[], []]


@pytest.mark.parametrize("threads", [1, 2, 9])
def test_the_best_of_all_islands_is_found_whatever_the_threads(threads: int) -> None:
    found = _searched([Digger(0, 1), Digger(0, 7)], 1000, threads=threads)
    assert (found.score, found.order.tolist()) == ((-3500.0,), [3500])


def test_a_cancelled_search_halts_its_islands() -> None:
    halt = no_halt()
    cancelled = threading.Event()
    timer = threading.Timer(0.05, cancelled.set)
    timer.start()
    stop = Stop(work=10**9, cancelled=cancelled.is_set)
    found = search_islands([Endless(halt), Endless(halt)], Rounds(100, 1), stop, halt, threads=2)
    timer.join()
    assert halt[0] == 1
    assert found.work == 2


def test_the_time_limit_halts_its_islands() -> None:
    halt = no_halt()
    found = search_islands([Endless(halt)], Rounds(100, 1), Stop(time_s=0.05), halt)
    assert found.work == 1


def test_a_failing_island_ends_the_search_with_its_error() -> None:
    halt = no_halt()
    islands: list[Island] = [Broken(0, 0), Endless(halt)]
    with pytest.raises(RuntimeError, match="this island sank"):
        search_islands(islands, Rounds(100, 1), Stop(work=1000), halt, threads=2)


def test_a_failing_report_ends_the_search_with_its_error() -> None:
    def report(found: Found) -> None:
        if found.work:
            raise RuntimeError("nobody listens")

    with pytest.raises(RuntimeError, match="nobody listens"):
        search_islands([Digger(0, 1)], Rounds(100, 1), Stop(work=1000), no_halt(), 1, report)


@pytest.mark.parametrize(("islands", "threads"), [(0, 1), (1, 0), (1, -1)])
def test_no_island_or_no_thread_is_refused(islands: int, threads: int) -> None:
    with pytest.raises(ValueError, match="there must be an island and a thread"):
        search_islands([Digger(0, 1)] * islands, Rounds(1, 1), Stop(work=1), no_halt(), threads)


@pytest.mark.parametrize(("quantum", "exchange_every"), [(0, 1), (1, 0), (-5, 1)])
def test_rounds_without_work_or_exchange_are_refused(quantum: int, exchange_every: int) -> None:
    with pytest.raises(ValueError, match="quantum and exchange_every must be at least 1"):
        Rounds(quantum, exchange_every)
