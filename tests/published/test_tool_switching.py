"""Inks that share stations: the tool switching problem, on instances of our own.

For a fixed order it is optimal to keep what is needed soonest, that is, to take off the ink that is
needed furthest ahead (Tang and Denardo, Operations Research 36 (1988); Belady 1966 for paging; from
memory). So brute force over the orders alone gives the optimum. First loads are free, every other change
takes a minute. No queue takes less than its inks − its stations.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice, permutations

import pytest

from solver.problem import Problem
from solver.sequence import Order, Placement
from tests.builders.textbook import SETUP_MINUTES_ONLY, setup_min, tool_switching_problem
from tests.published.accounts import best_of, costed

NEVER = 1 << 30


@dataclass(frozen=True)
class Instance:
    """Inks of every job, one letter each, and how many stations can print them."""

    jobs: tuple[str, ...]
    stations: int

    @property
    def problem(self) -> Problem:
        return tool_switching_problem([frozenset(inks) for inks in self.jobs], self.stations)

    @property
    def least_by_coverage(self) -> int:
        return len(set("".join(self.jobs))) - self.stations


THREE_STATIONS = Instance(("AB", "CFG", "BEH", "CD", "DEF", "AGH", "CDH"), 3)
FOUR_STATIONS = Instance(("CEFH", "GH", "AB", "DF", "EG", "AD", "BCDH"), 4)
INSTANCES = pytest.mark.parametrize("instance", [THREE_STATIONS, FOUR_STATIONS], ids=["three", "four"])


@dataclass(frozen=True)
class Seating:
    """Changes an order takes and, for each of its jobs, the station of each ink in alphabetic order."""

    changes: int
    stations: tuple[tuple[int, ...], ...]


def kept_soonest(instance: Instance, order: Sequence[int]) -> Seating:
    """Seat the inks of an order, taking off what is needed furthest ahead."""
    loaded: list[str | None] = [None] * instance.stations
    changes = 0
    seats: list[tuple[int, ...]] = []
    for position, job_idx in enumerate(order):
        inks = sorted(instance.jobs[job_idx])
        for ink in inks:
            if ink in loaded:
                continue
            station = max(
                range(instance.stations),
                key=lambda station: _free_for(instance, order, position, loaded[station]),
            )
            changes += loaded[station] is not None
            loaded[station] = ink
        seats.append(tuple(loaded.index(ink) for ink in inks))
    return Seating(changes, tuple(seats))


def _free_for(instance: Instance, order: Sequence[int], position: int, ink: str | None) -> int:
    """How many runs on an ink is needed again: none for one in use, for ever for an empty station."""
    if ink is None:
        return NEVER
    runs = (ahead for ahead, job_idx in enumerate(order[position:]) if ink in instance.jobs[job_idx])
    return next(runs, len(order))


def fewest_changes_by_seat(instance: Instance, order: Sequence[int]) -> int:
    """Fewest changes of an order, over every seat of every ink."""
    fewest: dict[tuple[str | None, ...], int] = {(None,) * instance.stations: 0}
    for job_idx in order:
        after: dict[tuple[str | None, ...], int] = {}
        for loaded, changes in fewest.items():
            for seats in permutations(range(instance.stations), len(instance.jobs[job_idx])):
                now = [*loaded]
                for station, ink in zip(seats, instance.jobs[job_idx], strict=True):
                    now[station] = ink
                taken = sum(was not in (None, ink) for was, ink in zip(loaded, now, strict=True))
                after[tuple(now)] = min(after.get(tuple(now), NEVER), changes + taken)
        fewest = after
    return min(fewest.values())


@cache
def fewest_changes(instance: Instance) -> int:
    """Fewest changes over every order."""
    return min(kept_soonest(instance, order).changes for order in _orders(instance))


def _orders(instance: Instance, every: int = 1) -> Iterator[tuple[int, ...]]:
    return islice(permutations(range(len(instance.jobs))), 0, None, every)


def _seated(instance: Instance, order: Sequence[int]) -> Order:
    """The order as placements: stations count from 1 behind the splice table, the die comes last."""
    seating = kept_soonest(instance, order)
    die = instance.stations + 1
    return (
        tuple(
            Placement(job_idx, (*(1 + station for station in stations), die))
            for job_idx, stations in zip(order, seating.stations, strict=True)
        ),
    )


@INSTANCES
def test_keeping_what_is_needed_soonest_is_as_good_as_any_seat(instance: Instance) -> None:
    for order in _orders(instance, every=1499):
        assert kept_soonest(instance, order).changes == fewest_changes_by_seat(instance, order)


@INSTANCES
def test_the_account_counts_a_minute_for_every_change(instance: Instance) -> None:
    problem = instance.problem
    for order in _orders(instance, every=197):
        sequence = costed(problem, _seated(instance, order), SETUP_MINUTES_ONLY)
        assert setup_min(sequence) == kept_soonest(instance, order).changes


@INSTANCES
def test_the_order_of_the_jobs_matters(instance: Instance) -> None:
    as_entered = kept_soonest(instance, range(len(instance.jobs))).changes
    assert as_entered > fewest_changes(instance) >= instance.least_by_coverage


@INSTANCES
def test_the_optimiser_finds_the_fewest_changes(instance: Instance) -> None:
    best = best_of(instance.problem, SETUP_MINUTES_ONLY, work=200_000)
    assert setup_min(best) == fewest_changes(instance)
    assert best.left_out == ()
