"""Wash-ups, kept tooling and where copies come from, by the checker's tooling alone."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from solver.plant import Cylinder, Die, Line, LoadedStation, Plant, PresentState
from solver.problem import Problem
from tests.checker.tooling import (
    LONG_AGO_MS,
    ToolNeed,
    ToolSource,
    load,
    present_floor,
    station_changes,
    tool_sources,
    wash_up_ms,
)
from tests.checker_tests.busy_day import DIE, FLEXO_1, INKJET, LINE_ONE, PROBLEM, STATIONS

NEED = ToolNeed(DIE, "die", "d")


def plant_with(copies: int | None, *standing: str | None, free_at_ms: tuple[int, ...] = (0, 0, 0)) -> Problem:
    """Three lines, with a die `d` of so many copies; what stands at each line's die station."""

    def line(place: int) -> Line:
        tool = standing[place] if place < len(standing) else None
        loaded = () if tool is None else (LoadedStation("die", {"die": tool}),)
        present = PresentState(loaded=loaded, free_at_ms=free_at_ms[place])
        return replace(LINE_ONE, id=f"line {place}", present=present)

    dies = (Die("d", 300_000, 1, 1, 1, copies=copies), Die("other", 300_000, 1, 1, 1, copies=1))
    return Problem(Plant(tuple(line(place) for place in range(3)), (), dies, (Cylinder("mag", 300_000),)), ())


def sources(problem: Problem, line_idx: int = 0) -> tuple[ToolSource, ...] | None:
    return tool_sources(problem, present_floor(problem), line_idx, (NEED,))


@pytest.mark.parametrize(
    ("before", "after", "minutes"),
    [
        ("", "black", 0),
        ("black", "yellow", Fraction(7, 4) * 4),
        ("yellow", "black", Fraction(1, 2) * 4),
        ("black", "gold", 2 * 4),
        ("gold", "black", Fraction(3, 2)),
    ],
)
def test_a_wash_up_is_longer_the_darker_the_ink_before(before: str, after: str, minutes: Fraction) -> None:
    assert wash_up_ms(PROBLEM, before, after, 4 * 60_000) == minutes * 60_000


def test_no_plate_is_a_value_and_a_plate_must_come_off() -> None:
    (change,) = station_changes(
        PROBLEM, STATIONS[FLEXO_1], {"plate": "p1"}, {"plate": ""}, frozenset(), frozenset()
    )
    assert (change.before, change.after) == ("p1", "")


def test_what_takes_no_time_is_no_change() -> None:
    rewinder = STATIONS[-1]
    assert station_changes(PROBLEM, rewinder, {"core": "1"}, {"core": "2"}, frozenset(), frozenset()) == ()


def test_channels_are_woken_one_by_one_and_awake_ones_are_not() -> None:
    awake = frozenset("CMY")
    (change,) = station_changes(PROBLEM, STATIONS[INKJET], {}, {}, frozenset("CMYKW"), awake)
    assert change.duration_ms == 2 * 60_000
    assert change.register_um == 2_000_000
    assert station_changes(PROBLEM, STATIONS[INKJET], {}, {}, frozenset("CM"), awake) == ()


def test_a_copy_at_its_own_station_comes_from_nowhere() -> None:
    assert sources(plant_with(1, "d")) == ()


def test_a_copy_comes_from_the_store_before_another_line() -> None:
    assert sources(plant_with(2, None, "d")) == (ToolSource(NEED, LONG_AGO_MS),)


def test_without_one_in_the_store_it_comes_from_the_line_that_is_free_longest() -> None:
    problem = plant_with(2, None, "d", "d", free_at_ms=(0, 90_000, 30_000))
    assert sources(problem) == (ToolSource(NEED, 30_000, 2, DIE),)


def test_of_lines_free_equally_long_the_first_gives_its_copy() -> None:
    assert sources(plant_with(2, None, "d", "d")) == (ToolSource(NEED, 0, 1, DIE),)


def test_a_die_without_copies_comes_from_nowhere_and_one_with_endless_copies_is_not_fetched() -> None:
    assert sources(plant_with(0)) is None
    assert sources(plant_with(None, None, "d")) == ()


def test_a_copy_taken_leaves_its_station_empty_and_a_copy_replaced_goes_to_the_store() -> None:
    problem = plant_with(1, "other", "d")
    floor = present_floor(problem)
    taken = tool_sources(problem, floor, 0, (NEED,))
    assert taken is not None
    load(problem, floor, 0, {DIE: {"die": "d"}}, taken, end_ms=500)
    assert (floor.loaded[0, DIE]["die"], floor.loaded[1, DIE]["die"]) == ("d", "")
    assert floor.store["die", "other"] == [0]
    assert floor.free_ms[0, DIE, "die"] == 500
