"""Changeovers worked out by an independent script, row by row, through the account."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from solver.account import account
from solver.baselines import as_entered
from solver.sequence import Changeover, Mode
from solver.weights import GOALS
from tests.builders.worked import M_UM, MIN_MS, worked_job, worked_line, worked_problem

Stops = tuple[tuple[str, ...], ...]
SPLICE, FLEXO_1, INKJET, FLEXO_2, DIE = "splice table", "flexo-1", "inkjet", "flexo-2", "die"


@dataclass(frozen=True)
class Row:
    """What is changed on which fit, and what comes out under a goal."""

    changed: tuple[str, ...]
    fit: str
    goal: str
    stops: Stops
    waste_m: float
    blank_m: float
    minutes: float


def rows(
    changed: tuple[str, ...],
    fits: str,
    balanced: tuple[Stops, float, float, float],
    least_waste: tuple[Stops, float, float, float] | None = None,
) -> list[Row]:
    """A row of the table: without an own value, least waste comes out the same."""
    return [
        Row(changed, fit, goal, *values)
        for fit in fits.split()
        for goal, values in (("balanced", balanced), ("least-waste", least_waste or balanced))
    ]


HELD_ROWS = [
    *rows((), "H P", ((), 0, 0, 1)),
    *rows((DIE,), "H", (((DIE,),), 6.5, 0, 4.825)),
    *rows((DIE,), "P", (((DIE,),), 9.5, 0, 4.975)),
    *rows(
        (FLEXO_2, DIE),
        "H",
        (((FLEXO_2, DIE),), 9.5, 0, 8.975),
        (((FLEXO_2,), (DIE,)), 6.5, 0, 9.325),
    ),
    *rows(
        (FLEXO_2, DIE),
        "H2",
        (((FLEXO_2, DIE),), 9.5, 0, 5.975),
        (((FLEXO_2,), (DIE,)), 6.5, 0, 9.325),
    ),
    *rows((FLEXO_2, DIE), "P", (((FLEXO_2, DIE),), 12.5, 0, 9.125)),
    *rows(("kept flexo-2",), "H P", ((), 2, 0, 1.1)),
    *rows((FLEXO_1, DIE), "H", (((FLEXO_1,), (DIE,)), 6.5, 0, 10.325)),
    *rows(
        (FLEXO_1, DIE),
        "H2",
        (((FLEXO_1, DIE),), 25.5, 0, 7.775),
        (((FLEXO_1,), (DIE,)), 6.5, 0, 10.325),
    ),
    *rows((FLEXO_1, DIE), "P", (((FLEXO_1,), (DIE,)), 12.5, 0, 10.625)),
    *rows(("substrate",), "H", (((SPLICE,),), 6, 0, 3.25)),
    *rows(("substrate",), "P", (((SPLICE,),), 14, 0, 3.65)),
    *rows(("substrate", INKJET), "H", (((SPLICE,), (INKJET,)), 6, 0, 4.25)),
    *rows(("substrate", INKJET), "P", (((SPLICE,), (INKJET,)), 14, 0, 4.65)),
    *rows(
        ("substrate", INKJET, DIE),
        "H",
        (((SPLICE,), (INKJET, DIE)), 9.5, 0, 7.425),
        (((SPLICE,), (INKJET,), (DIE,)), 7.5, 0, 7.825),
    ),
    *rows(
        ("substrate", INKJET, DIE),
        "P",
        (((SPLICE,), (INKJET, DIE)), 22.5, 0, 8.075),
        (((SPLICE,), (INKJET,), (DIE,)), 18.5, 0, 8.375),
    ),
    *rows(
        ("substrate", INKJET, FLEXO_2, DIE),
        "H",
        (((SPLICE,), (INKJET, FLEXO_2, DIE)), 10.5, 0, 11.475),
        (((SPLICE,), (INKJET, FLEXO_2), (DIE,)), 7.5, 0, 11.825),
    ),
    *rows(
        ("substrate", INKJET, FLEXO_2, DIE),
        "H2",
        (((SPLICE,), (INKJET, FLEXO_2, DIE)), 10.5, 0, 7.975),
        (((SPLICE,), (INKJET, FLEXO_2), (DIE,)), 7.5, 0, 11.325),
    ),
    *rows(
        ("substrate", INKJET, FLEXO_2, DIE),
        "P",
        (((SPLICE,), (INKJET, FLEXO_2, DIE)), 22.5, 0, 12.075),
        (((SPLICE,), (INKJET,), (FLEXO_2, DIE)), 18.5, 0, 12.375),
    ),
    *rows(
        ("substrate", FLEXO_1, INKJET, FLEXO_2, DIE),
        "H",
        (((SPLICE, FLEXO_1), (INKJET, FLEXO_2, DIE)), 12.5, 5, 16.575),
        (((SPLICE,), (FLEXO_1,), (INKJET, FLEXO_2), (DIE,)), 7.5, 0, 17.325),
    ),
    *rows(
        ("substrate", FLEXO_1, INKJET, FLEXO_2, DIE),
        "P",
        (((SPLICE, FLEXO_1), (INKJET, FLEXO_2, DIE)), 22.5, 5, 17.075),
        (((SPLICE,), (FLEXO_1, INKJET), (FLEXO_2, DIE)), 19, 0, 17.4),
    ),
]

HIDDEN_ROWS = rows(
    ("substrate", INKJET, FLEXO_2, DIE),
    "H",
    (((SPLICE,), (INKJET, DIE)), 9.5, 0, 7.425),
    (((SPLICE,), (INKJET,), (DIE,)), 7.5, 0, 7.825),
)

RUN_OUT_ROWS = [
    *rows((DIE,), "H", (((DIE,),), 17.5, 0, 5.375)),
    *rows((DIE,), "P", (((DIE,),), 22.5, 0, 5.625)),
    *rows(
        ("substrate", INKJET, FLEXO_2, DIE),
        "H P",
        (((SPLICE, INKJET, FLEXO_2, DIE),), 40.5, 28, 12.475),
    ),
]

ROLL_END_ROWS = [
    *rows((), "H", (((SPLICE,),), 6, 0, 2.25)),
    *rows((), "P", (((SPLICE,),), 9, 0, 2.4)),
]


def name_of(row: Row) -> str:
    return f"{'+'.join(row.changed) or 'nothing'} on {row.fit}, {row.goal}"


def second_changeover(row: Row, flexo_2_hidden: bool = False, ready_min: int = 0) -> Changeover:
    """The changeover from a plain inkjet job to one that changes what the row says."""
    problem = worked_problem(
        worked_line(row.fit, flexo_2_hidden),
        worked_job("outgoing"),
        worked_job("incoming", *row.changed, ready_min=ready_min),
    )
    changeover = account(problem, as_entered(problem), GOALS[row.goal]).runs[1].changeover
    assert changeover is not None
    return changeover


def assert_comes_out(changeover: Changeover, row: Row) -> None:
    assert tuple(tuple(task.station for task in stop.tasks) for stop in changeover.stops) == row.stops
    assert changeover.waste_um == row.waste_m * M_UM
    assert changeover.blank_um == row.blank_m * M_UM
    assert changeover.duration_ms == round(row.minutes * MIN_MS)


@pytest.mark.parametrize("row", HELD_ROWS, ids=name_of)
def test_a_held_changeover_stops_wastes_and_takes_what_was_worked_out(row: Row) -> None:
    changeover = second_changeover(row)
    assert changeover.mode is Mode.HELD
    assert_comes_out(changeover, row)


@pytest.mark.parametrize("row", HIDDEN_ROWS, ids=name_of)
def test_a_task_at_an_idle_guarded_station_is_hidden_behind_the_run_before(row: Row) -> None:
    changeover = second_changeover(row, flexo_2_hidden=True)
    assert [task.station for task in changeover.hidden] == [FLEXO_2]
    assert_comes_out(changeover, row)


@pytest.mark.parametrize("row", RUN_OUT_ROWS, ids=name_of)
def test_after_a_long_wait_the_job_is_run_out_in_one_stop_at_the_rewinder(row: Row) -> None:
    changeover = second_changeover(row, ready_min=600)
    assert changeover.mode is Mode.RUN_OUT
    assert_comes_out(changeover, row)


@pytest.mark.parametrize("row", ROLL_END_ROWS, ids=name_of)
def test_a_roll_end_inside_a_run_costs_the_splice_alone(row: Row) -> None:
    problem = worked_problem(worked_line(row.fit), worked_job("long run", "long", web_m=2500))
    run = account(problem, as_entered(problem), GOALS[row.goal]).runs[0]
    assert len(run.roll_ends) == 2
    for end in run.roll_ends:
        assert_comes_out(end.changeover, row)
