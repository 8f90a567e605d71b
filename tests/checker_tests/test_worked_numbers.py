"""The worked changeovers of the model, by the checker's geometry alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.checker.geometry import Outcome, WebCase, cheapest, held
from tests.checker_tests.worked_lines import (
    DIE,
    FLEXO_1,
    FLEXO_2,
    INKJET,
    LINE_H,
    LINE_P,
    LINES,
    SPLICE,
    case,
    goal_prices,
    task,
)

Row = tuple[str, str, tuple[int, ...], dict[str, Any], str, str]
NAMES = {"splice": SPLICE, "flexo-1": FLEXO_1, "inkjet": INKJET, "flexo-2": FLEXO_2, "die": DIE}
ALL_FIVE = (SPLICE, FLEXO_1, INKJET, FLEXO_2, DIE)
FOUR = (SPLICE, INKJET, FLEXO_2, DIE)
HIDDEN = {"hidden": (FLEXO_2,), "back": (FLEXO_2,)}

ROWS: list[Row] = [
    ("another job, nothing else", "H", (), {}, "none: 0 (0), 1", "same"),
    ("another job, nothing else", "P", (), {}, "none: 0 (0), 1", "same"),
    ("roll end inside a run", "H", (SPLICE,), {"roll_end": True}, "{splice}: 6 (0), 2.25", "same"),
    ("roll end inside a run", "P", (SPLICE,), {"roll_end": True}, "{splice}: 9 (0), 2.4", "same"),
    ("die", "H", (DIE,), {}, "{die}: 6.5 (0), 4.825", "same"),
    ("die", "P", (DIE,), {}, "{die}: 9.5 (0), 4.975", "same"),
    (
        "flexo-2, die",
        "H",
        (FLEXO_2, DIE),
        {},
        "{flexo-2, die}: 9.5 (0), 8.975",
        "{flexo-2} {die}: 6.5 (0), 9.325",
    ),
    (
        "flexo-2, die",
        "H2",
        (FLEXO_2, DIE),
        {},
        "{flexo-2, die}: 9.5 (0), 5.975",
        "{flexo-2} {die}: 6.5 (0), 9.325",
    ),
    ("flexo-2, die", "P", (FLEXO_2, DIE), {}, "{flexo-2, die}: 12.5 (0), 9.125", "same"),
    ("flexo-2 back with kept tooling", "H", (), {"back": (FLEXO_2,)}, "none: 2 (0), 1.1", "same"),
    ("flexo-2 back with kept tooling", "P", (), {"back": (FLEXO_2,)}, "none: 2 (0), 1.1", "same"),
    ("flexo-1, die", "H", (FLEXO_1, DIE), {}, "{flexo-1} {die}: 6.5 (0), 10.325", "same"),
    (
        "flexo-1, die",
        "H2",
        (FLEXO_1, DIE),
        {},
        "{flexo-1, die}: 25.5 (0), 7.775",
        "{flexo-1} {die}: 6.5 (0), 10.325",
    ),
    ("flexo-1, die", "P", (FLEXO_1, DIE), {}, "{flexo-1} {die}: 12.5 (0), 10.625", "same"),
    ("substrate", "H", (SPLICE,), {}, "{splice}: 6 (0), 3.25", "same"),
    ("substrate", "P", (SPLICE,), {}, "{splice}: 14 (0), 3.65", "same"),
    ("substrate, inkjet", "H", (SPLICE, INKJET), {}, "{splice} {inkjet}: 6 (0), 4.25", "same"),
    ("substrate, inkjet", "P", (SPLICE, INKJET), {}, "{splice} {inkjet}: 14 (0), 4.65", "same"),
    (
        "substrate, inkjet, die",
        "H",
        (SPLICE, INKJET, DIE),
        {},
        "{splice} {inkjet, die}: 9.5 (0), 7.425",
        "{splice} {inkjet} {die}: 7.5 (0), 7.825",
    ),
    (
        "substrate, inkjet, die",
        "P",
        (SPLICE, INKJET, DIE),
        {},
        "{splice} {inkjet, die}: 22.5 (0), 8.075",
        "{splice} {inkjet} {die}: 18.5 (0), 8.375",
    ),
    (
        "substrate, inkjet, flexo-2, die",
        "H",
        FOUR,
        {},
        "{splice} {inkjet, flexo-2, die}: 10.5 (0), 11.475",
        "{splice} {inkjet, flexo-2} {die}: 7.5 (0), 11.825",
    ),
    (
        "substrate, inkjet, flexo-2, die",
        "H2",
        FOUR,
        {},
        "{splice} {inkjet, flexo-2, die}: 10.5 (0), 7.975",
        "{splice} {inkjet, flexo-2} {die}: 7.5 (0), 11.325",
    ),
    (
        "substrate, inkjet, flexo-2, die",
        "P",
        FOUR,
        {},
        "{splice} {inkjet, flexo-2, die}: 22.5 (0), 12.075",
        "{splice} {inkjet} {flexo-2, die}: 18.5 (0), 12.375",
    ),
    (
        "the same, flexo-2 hidden",
        "H",
        (SPLICE, INKJET, DIE),
        HIDDEN,
        "{splice} {inkjet, die}: 9.5 (0), 7.425",
        "{splice} {inkjet} {die}: 7.5 (0), 7.825",
    ),
    (
        "all five",
        "H",
        ALL_FIVE,
        {},
        "{splice, flexo-1} {inkjet, flexo-2, die}: 12.5 (5), 16.575",
        "{splice} {flexo-1} {inkjet, flexo-2} {die}: 7.5 (0), 17.325",
    ),
    (
        "all five",
        "P",
        ALL_FIVE,
        {},
        "{splice, flexo-1} {inkjet, flexo-2, die}: 22.5 (5), 17.075",
        "{splice} {flexo-1, inkjet} {flexo-2, die}: 19 (0), 17.4",
    ),
    ("die, after a wait", "H", (DIE,), {"run_out": True}, "{die}: 17.5 (0), 5.375", "same"),
    ("die, after a wait", "P", (DIE,), {"run_out": True}, "{die}: 22.5 (0), 5.625", "same"),
    (
        "four, after a wait",
        "H",
        FOUR,
        {"run_out": True},
        "{splice, inkjet, flexo-2, die}: 40.5 (28), 12.475",
        "same",
    ),
    (
        "four, after a wait",
        "P",
        FOUR,
        {"run_out": True},
        "{splice, inkjet, flexo-2, die}: 40.5 (28), 12.475",
        "same",
    ),
]


def described(result: Outcome) -> str:
    """An outcome as the worked numbers write it: stops, waste m (outgoing blank m), minutes."""
    groups = [f"{{{', '.join(task.station for task in stop.tasks)}}}" for stop in result.stops]
    waste_m, blank_m = result.waste_um / 10**6, (result.splice_at_um or 0) / 10**6
    return f"{' '.join(groups) or 'none'}: {waste_m:g} ({blank_m:g}), {result.duration_ms / 60_000:g}"


def worked_case(row: Row) -> WebCase:
    _, line_id, changed, how, _, _ = row
    return case(LINES[line_id], changed, **how)


@pytest.mark.parametrize("row", ROWS, ids=[f"{row[0]} on {row[1]}" for row in ROWS])
def test_the_balanced_goal_finds_the_worked_changeover(row: Row) -> None:
    assert described(cheapest(worked_case(row), goal_prices("balanced"))) == row[4]


@pytest.mark.parametrize("row", ROWS, ids=[f"{row[0]} on {row[1]}" for row in ROWS])
def test_the_least_waste_goal_finds_the_worked_changeover(row: Row) -> None:
    right = row[4] if row[5] == "same" else row[5]
    assert described(cheapest(worked_case(row), goal_prices("least-waste"))) == right


def test_print_spoiled_before_the_last_sellable_metre_is_the_outgoing_jobs() -> None:
    outcome = held(case(LINE_P, (SPLICE,)), ((task(SPLICE),),))
    assert outcome.spoil_before == ((-12_000_000, -9_000_000),)
    assert outcome.outgoing_um == 3_000_000


def test_nothing_is_spoiled_before_a_run_that_did_not_jet() -> None:
    not_jetted = replace(case(LINE_P, (SPLICE,)), jets_before_um=())
    assert held(not_jetted, ((task(SPLICE),),)).spoil_before == ()


def test_a_splice_without_a_task_lies_at_the_last_sellable_metre() -> None:
    outcome = held(replace(case(LINE_H, ()), spliced=True), ())
    assert (outcome.splice_at_um, outcome.stops, outcome.splice_um) == (0, (), 1_000_000)


def test_stations_that_register_in_turn_need_their_register_metres_one_after_another() -> None:
    together = case(LINE_H, (FLEXO_2, DIE))
    in_turn = replace(together, line=replace(LINE_H, registers_in_turn=True))
    split = ((task(FLEXO_2),), (task(DIE),))
    assert held(together, split).strip_um == 6_500_000
    assert held(in_turn, split).strip_um == 11_500_000


def test_a_job_change_takes_its_least_strip_and_a_cold_line_its_start_up() -> None:
    cold = replace(case(LINE_H, ()), least_strip_um=7_000_000, start_up_um=9_000_000)
    outcome = cheapest(cold, goal_prices("balanced"))
    assert (outcome.strip_um, outcome.waste_um) == (7_000_000, 16_000_000)
    assert outcome.duration_ms == 60_000 + 21_000


def test_of_equally_good_splits_the_one_with_fewer_stops_wins() -> None:
    free = replace(LINE_H, stop_ms=0, setup_speed_um_min=20_000_000)
    stations = tuple(replace(station, x_um=0) for station in free.stations)
    at_zero = replace(case(LINE_H, (FLEXO_2, DIE)), line=replace(free, stations=stations))
    outcome = cheapest(
        replace(at_zero, stopped=tuple(replace(task(k), x_um=0) for k in (FLEXO_2, DIE))),
        goal_prices("balanced"),
    )
    assert len(outcome.stops) == 1


def test_of_splits_equal_in_all_else_the_first_differing_stop_lies_further_upstream() -> None:
    evenly_spaced = {FLEXO_1: 5_000_000, FLEXO_2: 8_000_000, DIE: 11_000_000}
    positions_um = (0, 5_000_000, 6_000_000, 8_000_000, 11_000_000, 12_000_000)
    stations = tuple(
        replace(station, x_um=x_um) for station, x_um in zip(LINE_H.stations, positions_um, strict=True)
    )
    line = replace(LINE_H, stations=stations, stop_ms=0, pull_back_um=0)
    tasks = tuple(replace(task(k), x_um=x_um, register_um=0) for k, x_um in evenly_spaced.items())
    floored = replace(
        case(line, tuple(evenly_spaced)),
        used=tuple(evenly_spaced),
        stopped=tasks,
        register_um={},
        least_strip_um=3_000_000,
    )
    outcome = cheapest(floored, goal_prices("balanced"))
    assert (len(outcome.stops), outcome.strip_um) == (2, 3_000_000)
    assert outcome.last_stations == (FLEXO_1, DIE)
