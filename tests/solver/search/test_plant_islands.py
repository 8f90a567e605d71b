"""Islands of plants with lots, locks and several lines: what they know of their orders, and what that depends
on.
"""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from itertools import cycle
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solver.account import account_with
from solver.jobs import Layer
from solver.ledger import web_ledger
from solver.locks import AtPosition, Before, Lock, OnLine, Started, Together
from solver.plant import Line, PresentState, Station
from solver.problem import Problem
from solver.search import walk_room
from solver.search.annealing_islands import AnnealingIsland, annealing_islands, dispatching
from solver.search.compile import CompiledPlant
from solver.search.islands import no_halt
from solver.search.plant_search import PlantFound, improved_order, plain_starts, search_plant
from solver.search.stop import Stop
from solver.weights import GOALS, Weights
from tests.builders.days import H_MS, MIN_MS, DayShape, drawn_day
from tests.builders.drawn_locks import lines_of, under_drawn_locks
from tests.builders.plant_orders import drawn_plant_numbers
from tests.builders.scored import scored
from tests.checker.check import check_sequence
from tests.examples import examples, first

SEEDS = st.integers(min_value=0, max_value=10**9)
GOAL_NAMES = st.sampled_from(sorted(GOALS))
THREADS = (1, 2, 4)


def locked_day() -> Problem:
    """Fourteen jobs on three lines, many of which may be split and joined; one has started, and locks of
    every kind can all be kept.
    """
    free = drawn_day(21, DayShape(jobs=14, lines=3, splits=True))
    everywhere = [job.id for idx, job in enumerate(free.jobs) if lines_of(free, idx) == [0, 1, 2]]
    begun, first, then, one, other, held, early = everywhere[:7]
    locks: list[Lock] = [
        Started(begun, "line-1", -20 * MIN_MS, -5 * MIN_MS, 30 * MIN_MS),
        Before(first, then),
        Together((one, other)),
        OnLine(held, "line-2"),
        AtPosition(early, 2),
    ]
    return Problem(free.plant, free.jobs, tuple(locks))


def islands_of(compiled: CompiledPlant, seed: int = 0) -> list[AnnealingIsland]:
    return annealing_islands(compiled, plain_starts(compiled), seed, no_halt())


def found(compiled: CompiledPlant, work: int, threads: int = 1) -> PlantFound:
    return search_plant(compiled, plain_starts(compiled), Stop(work=work), 3, threads)


def score(each: PlantFound) -> tuple[int, float]:
    return each.faults, each.eur


def assert_best_is_right(compiled: CompiledPlant, island: AnnealingIsland) -> None:
    """An island's best has the faults and the cost that the scheduler gives it, and no change was
    misjudged.
    """
    order = compiled.order(island.best[1])
    right = scored(compiled.scheduler, order)
    assert island.misjudged == 0
    assert island.best[0] == pytest.approx((right.faults, right.eur), rel=1e-9, abs=1e-9)


@examples(30)
@given(SEEDS, st.integers(1, 3), GOAL_NAMES, st.booleans())
def test_changes_cost_what_was_reckoned_and_the_best_what_the_account_says(
    seed: int, lines: int, goal: str, locked: bool
) -> None:
    day = drawn_day(seed, DayShape(jobs=10, lines=lines, splits=True))
    compiled = CompiledPlant(under_drawn_locks(day, seed) if locked else day, GOALS[goal])
    if not compiled.runs:
        return
    for island in islands_of(compiled, seed)[:2]:
        island.advance(1500)
        assert_best_is_right(compiled, island)
        sequence = account_with(compiled.scheduler, compiled.order(island.best[1]))
        ledger = web_ledger(compiled.problem, sequence)
        assert check_sequence(compiled.problem, sequence, GOALS[goal], ledger) == []


def test_these_searches_split_and_join() -> None:
    met: set[str] = set()
    for seed in range(12):
        compiled = CompiledPlant(drawn_day(seed, DayShape(jobs=10, lines=2, splits=True)), Weights())
        island = islands_of(compiled, seed)[0]
        island.advance(3000)
        for run in account_with(compiled.scheduler, compiled.order(island.best[1])).runs:
            met |= {"split"} if run.lot else set()
            met |= {"joined"} if run.changeover is not None and run.changeover.joined else set()
        if len(met) == 2:
            break
    assert met == {"split", "joined"}


def _with_a_slow_station(line: Line) -> Line:
    """The same with a second flexo station that needs no print cylinder, but long for its plate."""

    def slow(station: Station) -> Station:
        aspects = (
            replace(each, duration_ms=each.duration_ms + 8 * MIN_MS * (each.name == "plate"))
            for each in station.aspects[1:]
        )
        return replace(station, aspects=tuple(aspects))

    stations = (slow(station) if station.id == "flexo-2" else station for station in line.stations)
    return replace(line, stations=tuple(stations), present=PresentState())


def _spot_ink_day(seed: int) -> Problem:
    """Five jobs with a spot ink, all of one repeat and in a hurry, on two lines; its print cylinder is there
    once.
    """
    free = drawn_day(seed, DayShape(jobs=5, lines=2, closures=False, limited_stock=False))
    die: dict[str, Any] = {
        "repeat_um": 254_000,
        "cylinder": "mag-80",
        "print_cylinder": "print-80",
        "copies": None,
    }
    plant = replace(
        free.plant,
        lines=tuple(map(_with_a_slow_station, free.plant.lines)),
        dies=tuple(replace(each, **die) for each in free.plant.dies),
        cylinders=tuple(
            replace(each, copies=1 if each.id == "print-80" else None) for each in free.plant.cylinders
        ),
    )
    inks = (Layer("spot", ink, plate=f"{ink} plate") for ink in cycle(("red", "black", "yellow")))
    jobs = tuple(
        replace(job, layer_groups=((ink,),), ready_ms=0, due_ms=H_MS, late_eur_per_h=Fraction(200))
        for job, ink in zip(free.jobs, inks, strict=False)
    )
    return Problem(plant, jobs)


@pytest.mark.parametrize("seed", first(range(6)))
def test_other_stations_may_need_what_another_line_has(seed: int) -> None:
    """At one station the ink needs the print cylinder, at the other none. Once only changes of two lines were
    looked at for that, and waits for the cylinder were missed.
    """
    compiled = CompiledPlant(_spot_ink_day(seed), Weights())
    for island in islands_of(compiled, seed):
        island.advance(1500)
        assert_best_is_right(compiled, island)


def test_the_result_is_the_same_for_any_number_of_threads() -> None:
    compiled = CompiledPlant(locked_day(), Weights())
    results = [found(compiled, 6_001, threads) for threads in THREADS]
    assert {each.work for each in results} == {6_001}
    assert len({(score(each), each.order) for each in results}) == 1
    right = scored(compiled.scheduler, results[0].order)
    assert score(results[0]) == pytest.approx((right.faults, right.eur), rel=1e-9)


def test_more_work_never_makes_a_result_worse_and_none_has_the_best_start() -> None:
    compiled = CompiledPlant(locked_day(), Weights())
    results = [found(compiled, work) for work in (0, 1, 500, 4_000, 10_000)]
    assert [score(each) for each in results] == sorted(map(score, results), reverse=True)
    starts = [scored(compiled.scheduler, compiled.order(start)) for start in plain_starts(compiled)]
    least = min((start.faults, start.eur) for start in starts)
    assert score(results[0]) == pytest.approx(least, rel=1e-9)
    assert score(results[-1]) < score(results[0])


def test_what_is_found_does_not_depend_on_how_work_is_dealt_out() -> None:
    compiled = CompiledPlant(locked_day(), Weights())
    for at_once, bit_by_bit in zip(islands_of(compiled), islands_of(compiled), strict=True):
        at_once.advance(6_000)
        for work in (1, 0, 499, 2_500, 3_000):
            bit_by_bit.advance(work)
        assert at_once.best[0] == bit_by_bit.best[0]
        assert at_once.best[1].tolist() == bit_by_bit.best[1].tolist()


@pytest.mark.parametrize("most", [18, 8], ids=["room is made for all", "they are forgotten now and then"])
def test_nor_on_how_much_room_there_is_for_changeovers(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for 64 a line at most, where hundreds are met, they are worked out again."""
    compiled = CompiledPlant(locked_day(), Weights())
    ample, cramped = islands_of(compiled)[1], islands_of(compiled)[1]
    ample.advance(4_000)
    monkeypatch.setattr(walk_room, "usual_cases", lambda runs, lines: 4)
    monkeypatch.setattr(walk_room, "MOST_CASES", most)
    cramped.advance(4_000)
    assert cramped.best[0] == ample.best[0]
    assert cramped.best[1].tolist() == ample.best[1].tolist()
    assert_best_is_right(compiled, cramped)


def test_a_raised_flag_ends_an_advance_early() -> None:
    compiled = CompiledPlant(locked_day(), Weights())
    halt = no_halt()
    island = annealing_islands(compiled, plain_starts(compiled), 0, halt)[0]
    halt[0] = 1
    assert island.advance(10**9) < 1000
    assert_best_is_right(compiled, island)


def test_the_best_is_never_worse_than_an_order_adopted_in_lots_or_whole() -> None:
    compiled = CompiledPlant(locked_day(), Weights())
    island, rng = islands_of(compiled)[0], random.Random(8)
    for _ in range(15):
        before, numbers = island.best[0], drawn_plant_numbers(compiled, rng)
        right = scored(compiled.scheduler, compiled.order(numbers))
        island.adopt(numbers)
        island.advance(30)
        assert island.best[0] <= before
        assert (right.faults, right.eur * (1 + 1e-9)) >= island.best[0]
        assert_best_is_right(compiled, island)


def test_dispatching_begins_from_lots_too_and_gives_every_island_its_best_order() -> None:
    compiled = CompiledPlant(locked_day(), Weights())
    islands = islands_of(compiled)
    lots = drawn_plant_numbers(compiled, random.Random(1), split=1.0)
    islands[0].adopt(lots)
    for stage in dispatching(islands):
        for task in stage:
            task()
    assert len({(island.best[0], tuple(island.best[1])) for island in islands}) == 1
    for island in islands:
        island.advance(300)
        assert_best_is_right(compiled, island)


def test_started_runs_stay_first_on_their_lines_whatever_is_searched() -> None:
    compiled = CompiledPlant(locked_day(), Weights())
    [begun] = [plan for line in compiled.lines for number in line.started for plan in [line.plans[number]]]
    for work in (0, 5_000):
        result = found(compiled, work)
        assert all(order[0][0] == begun.placement for order in (result.order, *result.others))


def test_an_order_improved_keeps_what_it_leaves_out_and_counts_its_lots_late() -> None:
    """Lots of a job are late together however few other jobs there are."""
    for seed in range(4):
        compiled = CompiledPlant(drawn_day(seed, DayShape(jobs=10, lines=2, splits=True)), Weights())
        orders = compiled.line_numbers(drawn_plant_numbers(compiled, random.Random(seed), split=1.0))
        whole_jobs = {
            compiled.lines[line_idx].plans[number].placement.job_idx
            for line_idx, order in enumerate(orders)
            for number in order
        }
        kept = set(sorted(whole_jobs)[::2])
        order = tuple(
            tuple(placement for placement in line if placement.job_idx in kept)
            for line in compiled.order(compiled.numbered([each.tolist() for each in orders]))
        )
        better = improved_order(compiled, order, Stop(work=2_000), seed)
        assert {placement.job_idx for line in better for placement in line} == kept
        before, after = (scored(compiled.scheduler, each) for each in (order, better))
        assert not before.better_than(after)
