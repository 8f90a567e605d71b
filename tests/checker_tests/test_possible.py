"""Each rule of what a line can run: the case that it lets pass, and the one it refuses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from solver.jobs import Job, Layer
from solver.plant import Die, Line, Plant, PresentState, Substrate
from solver.problem import Problem
from tests.checker.possible import legal_choices, line_refusals
from tests.checker.quantities import stock_for
from tests.checker_tests.busy_day import (
    DIE,
    FLEXO_1,
    FLEXO_2,
    INKJET,
    JOBS,
    LINE_ONE,
    PLANT,
    STATIONS,
    inkjet,
    spot,
)

LABELS = replace(JOBS[1], core_um=76_000)
EMPTY_LINE = replace(LINE_ONE, present=PresentState())


def refusals(
    *,
    line: Line = EMPTY_LINE,
    job: Job = LABELS,
    die: Callable[[Die], Die] = lambda die: die,
    substrate: Callable[[Substrate], Substrate] = lambda substrate: substrate,
    core_wall_um: int = 0,
) -> list[str]:
    """Why the line cannot run the job, with its die and substrate altered."""
    plant = Plant(
        lines=(line,),
        substrates=tuple(map(substrate, PLANT.substrates)),
        dies=tuple(map(die, PLANT.dies)),
        cylinders=PLANT.cylinders,
        consumables=PLANT.consumables,
        core_wall_um=core_wall_um,
    )
    return line_refusals(Problem(plant, (job,)), line, job)


def test_the_line_can_run_the_labels() -> None:
    assert refusals() == []


@pytest.mark.parametrize(("web_width_um", "can"), [(330_000, True), (329_999, False)])
def test_the_stock_must_fit_the_line(web_width_um: int, can: bool) -> None:
    assert (refusals(line=replace(EMPTY_LINE, web_width_um=web_width_um)) == []) is can


@pytest.mark.parametrize(("print_width_um", "can"), [(216_000, True), (215_999, False)])
def test_the_printed_part_must_fit_the_print_width(print_width_um: int, can: bool) -> None:
    narrow = replace(EMPTY_LINE, print_width_um=print_width_um)
    assert (refusals(line=narrow) == []) is can
    assert refusals(line=narrow, job=replace(LABELS, layer_groups=())) == []


@pytest.mark.parametrize(("label_width_um", "can"), [(104_000, True), (105_000, False)])
def test_some_stocked_width_must_hold_labels_gaps_and_trim(label_width_um: int, can: bool) -> None:
    assert (refusals(die=lambda die: replace(die, label_width_um=label_width_um)) == []) is can


def test_a_width_that_is_asked_for_must_be_stocked() -> None:
    assert refusals(job=replace(LABELS, roll_width_um=330_000)) == []
    assert refusals(job=replace(LABELS, roll_width_um=300_000)) != []


def test_the_narrowest_stocked_width_that_holds_the_job_is_taken() -> None:
    problem = Problem(PLANT, JOBS)
    film = stock_for(problem, LINE_ONE, JOBS[0])
    assert film is not None
    assert film.width_um == 250_000


@pytest.mark.parametrize(
    ("liner_um", "can"), [(50, True), (60, True), (49, False), (61, False), (None, True)]
)
def test_the_die_must_suit_the_liner(liner_um: int | None, can: bool) -> None:
    found = refusals(
        die=lambda die: replace(die, min_liner_um=50, max_liner_um=60),
        substrate=lambda substrate: replace(substrate, liner_thickness_um=liner_um),
    )
    assert (found == []) is can


@pytest.mark.parametrize(
    ("least_um", "most_um", "can"), [(300_000, 300_000, True), (300_001, None, False), (None, 299_999, False)]
)
def test_the_repeat_must_be_in_the_lines_range(least_um: int | None, most_um: int | None, can: bool) -> None:
    line = replace(EMPTY_LINE, min_repeat_um=least_um, max_repeat_um=most_um)
    assert (refusals(line=line) == []) is can


@pytest.mark.parametrize(("core_wall_um", "can"), [(0, True), (30_000, False)])
def test_a_full_reel_must_fit_the_rewinder(core_wall_um: int, can: bool) -> None:
    found = refusals(
        line=replace(EMPTY_LINE, max_reel_diameter_um=160_000),
        substrate=lambda substrate: replace(substrate, thickness_um=140),
        core_wall_um=core_wall_um,
    )
    assert (found == []) is can


@pytest.mark.parametrize(("copies", "can"), [(1, True), (0, False)])
def test_there_must_be_a_copy_of_the_die(copies: int, can: bool) -> None:
    assert (refusals(die=lambda die: replace(die, copies=copies)) == []) is can


def test_the_inkjet_must_have_the_channels() -> None:
    assert refusals(job=replace(LABELS, layer_groups=((inkjet("CW"),),))) == []
    assert refusals(job=replace(LABELS, layer_groups=((inkjet("CO"),),))) != []


def test_there_must_be_a_die_station() -> None:
    assert refusals(line=replace(EMPTY_LINE, stations=(*STATIONS[:DIE], *STATIONS[DIE + 1 :]))) != []


def choices(*groups: tuple[Layer, ...]) -> list[tuple[int, ...]]:
    job = replace(LABELS, layer_groups=groups)
    return list(legal_choices(Problem(PLANT, (job,)), LINE_ONE, job))


def test_groups_follow_each_other_along_the_web() -> None:
    assert choices((inkjet("K"),), (spot("black"),)) == [(INKJET, FLEXO_2, DIE)]
    assert choices((spot("black"),), (inkjet("K"),)) == [(FLEXO_1, INKJET, DIE)]


def test_inside_a_group_the_order_is_free_and_every_layer_has_its_own_station() -> None:
    assert choices((spot("black"), spot("yellow"))) == [(FLEXO_1, FLEXO_2, DIE), (FLEXO_2, FLEXO_1, DIE)]


def test_a_layer_possible_at_two_stations_is_a_choice_with_the_first_in_web_order_first() -> None:
    assert choices((spot("black"),)) == [(FLEXO_1, DIE), (FLEXO_2, DIE)]


def test_three_layers_find_no_place_on_two_stations() -> None:
    assert choices((spot("black"), spot("yellow"), spot("gold"))) == []


def test_two_plates_need_two_print_cylinders() -> None:
    job = replace(LABELS, layer_groups=((spot("black", "p1"), spot("yellow", "p2")),))
    one_cylinder = replace(
        PLANT, cylinders=tuple(replace(cylinder, copies=1) for cylinder in PLANT.cylinders)
    )
    assert next(legal_choices(Problem(PLANT, (job,)), LINE_ONE, job), None) is not None
    assert next(legal_choices(Problem(one_cylinder, (job,)), LINE_ONE, job), None) is None
