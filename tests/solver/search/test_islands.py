"""Islands: how work is dealt out, exchanged, stopped."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import pytest

from solver.search.islands import Found, Halt, Island, Order, Rounds, Score, Task, no_halt, search_islands
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


def test_rounds_grow_to_the_quantum_and_the_last_gets_what_is_left() -> None:
    islands = [Digger(0, 1), Digger(0, 2), Digger(0, 3)]
    found = _searched(islands, 305 + 600 + 3 * (6 + 12 + 25 + 50))
    assert [island.allowed for island in islands] == [
        [6, 12, 25, 50, 100, 100, 100, 2],
        [6, 12, 25, 50, 100, 100, 100, 2],
        [6, 12, 25, 50, 100, 100, 100, 1],
    ]
    assert found.work == sum(island.done for island in islands) == 905 + 279


def test_even_a_short_round_has_work_for_every_island() -> None:
    islands = [Digger(0, 1)]
    search_islands(islands, Rounds(3, 1), Stop(work=13), no_halt(), 1)
    assert islands[0].allowed == [1, 1, 1, 1, 3, 3, 3]


@pytest.mark.parametrize("work", [0, 1, 2, 3, 299, 300, 301, 10_000])
def test_all_islands_together_do_exactly_the_work_allowed(work: int) -> None:
    islands = [Digger(0, 1), Digger(0, 1), Digger(0, 1)]
    assert _searched(islands, work).work == sum(island.done for island in islands) == work


def test_the_worst_island_goes_on_from_the_best_one_every_other_round_of_full_length() -> None:
    islands = [Digger(0, 2), Digger(0, 9), Digger(0, 1)]
    _searched(islands, 3 * (6 + 12 + 25 + 50) + 1200)
    short = 9 * (6 + 12 + 25 + 50)
    assert [island.adopted for island in islands] == [[], [], [short + 1800, short + 3600]]


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


def test_a_search_opens_in_stages_each_of_which_sees_what_the_one_before_came_to() -> None:
    islands = [Digger(0, 0), Digger(0, 0)]

    def stages() -> Iterator[list[Task]]:
        yield [partial(islands[0].advance, 3), partial(islands[1].advance, 4)]
        yield [partial(islands[1].advance, 2 * (islands[0].done + islands[1].done))]

    found = search_islands(islands, Rounds(16, 1), Stop(work=2), no_halt(), 2, None, stages())
    assert [island.allowed for island in islands] == [[3, 1], [4, 14, 1]]
    assert found.work == 2


@pytest.mark.parametrize("cancelled_after", [0, 1, 2])
def test_once_it_is_over_no_further_stage_is_begun(cancelled_after: int) -> None:
    begun: list[int] = []

    def stages() -> Iterator[list[Task]]:
        for number in range(3):
            yield [partial(begun.append, number)]

    stop = Stop(work=100, cancelled=lambda: len(begun) >= cancelled_after)
    found = search_islands([Digger(0, 1)], Rounds(1, 1), stop, no_halt(), 1, None, stages())
    assert (begun, found.work) == (list(range(cancelled_after)), 0)


def test_a_stage_that_takes_long_is_told_when_it_is_over() -> None:
    halt = no_halt()
    island = Endless(halt)
    stage = [partial(island.advance, 0)]
    found = search_islands([island], Rounds(1, 1), Stop(time_s=0.05), halt, 1, None, [stage])
    assert (halt[0], found.work) == (1, 0)


def test_a_failing_task_ends_the_search_with_its_error() -> None:
    stage = [partial(Broken(0, 0).advance, 1)]
    with pytest.raises(RuntimeError, match="this island sank"):
        search_islands([Digger(0, 1)], Rounds(1, 1), Stop(work=5), no_halt(), 1, None, [stage])


def test_the_first_improvement_is_told_at_once() -> None:
    told: list[Found] = []
    search_islands([Digger(0, 1)], Rounds(100, 1), Stop(work=1000), no_halt(), 1, told.append)
    assert [found.work for found in told[:2]] == [0, 6]
    assert told[-1].work == 1000


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
