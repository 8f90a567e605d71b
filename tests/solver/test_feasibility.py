"""What a line can run: for every rule a job that it can and one that it cannot, with the reason."""

from __future__ import annotations

from dataclasses import replace

import pytest

from solver.account import account
from solver.baselines import as_entered
from solver.feasibility import reasons, station_choices
from solver.jobs import Job, Layer
from solver.plant import Cylinder, Line, Plant, StockedWidth
from solver.problem import Problem
from solver.search.solve import Status, solve
from solver.search.stop import Stop
from solver.weights import Weights
from tests.builders.worked import M_UM, WEB_UM, aspect, worked_job, worked_line, worked_plant

PLAIN = worked_job("plain")
LAYERED = worked_job("layered", "flexo-1", "flexo-2")


def why_not(
    job: Job = PLAIN, line: Line | None = None, plant: Plant | None = None, **plant_changes: object
) -> tuple[str, ...]:
    line = line or worked_line("H")
    plant = replace(plant or worked_plant(line), lines=(line,), **plant_changes)  # type: ignore[arg-type]
    return reasons(Problem(plant, (job,)), 0, 0)


def test_the_plain_and_the_layered_job_can_run() -> None:
    assert why_not(PLAIN) == ()
    assert why_not(LAYERED) == ()


@pytest.mark.parametrize(
    ("job", "line_changes", "reason"),
    [
        (PLAIN, {"web_width_um": 320_000}, "its web of 330 mm is wider than the line's 320 mm"),
        (PLAIN, {"print_width_um": 299_999}, "printed part of 300 mm is wider than the line's print width"),
        (PLAIN, {"edge_trim_um": 15_001}, "not stocked in any width of at least the 330.002 mm needed"),
        (PLAIN, {"min_repeat_um": 250_001}, "repeat of 250 mm is below the line's least 250.001 mm"),
        (PLAIN, {"max_repeat_um": 249_999}, "repeat of 250 mm is above the line's largest 249.999 mm"),
    ],
)
def test_a_line_too_narrow_or_out_of_range_says_so(
    job: Job, line_changes: dict[str, int], reason: str
) -> None:
    assert reason in why_not(job, replace(worked_line("H"), **line_changes))[0]  # type: ignore[arg-type]
    eased = {
        name: value + (-1 if value in (15_001, 250_001) else 10_000) for name, value in line_changes.items()
    }
    assert why_not(job, replace(worked_line("H"), **eased)) == ()  # type: ignore[arg-type]


def test_a_blank_label_has_no_printed_part() -> None:
    blank = replace(PLAIN, layer_groups=())
    assert why_not(blank, replace(worked_line("H"), print_width_um=1_000)) == ()


def test_a_roll_width_given_must_be_stocked() -> None:
    reason = why_not(replace(PLAIN, roll_width_um=350_000))
    assert reason == ("paper is not stocked as a roll of 350 mm of at least the 300 mm needed",)
    assert why_not(replace(PLAIN, roll_width_um=WEB_UM)) == ()


def test_the_narrowest_stocked_width_that_holds_the_job_is_taken() -> None:
    line = worked_line("H")
    plant = worked_plant(line)
    paper = replace(plant.substrates[0], widths=tuple(map(StockedWidth, (330_000, 299_000, 310_000))))
    problem = Problem(replace(plant, substrates=(paper, *plant.substrates[1:])), (PLAIN,))
    run = account(problem, as_entered(problem), Weights()).runs[0]
    assert run.stock.width_um == 310_000


@pytest.mark.parametrize(
    ("limits", "reason"),
    [
        ({"min_liner_um": 60}, "needs a liner of at least 60 µm, paper has 55 µm"),
        ({"max_liner_um": 50}, "takes a liner of at most 50 µm, paper has 55 µm"),
        ({"min_liner_um": 50, "max_liner_um": 60}, ""),
    ],
)
def test_a_die_fits_a_range_of_liners(limits: dict[str, int], reason: str) -> None:
    plant = worked_plant(worked_line("H"))
    paper = replace(plant.substrates[0], liner_thickness_um=55)
    die = replace(plant.dies[0], **limits)  # type: ignore[arg-type]
    found = why_not(substrates=(paper, *plant.substrates[1:]), dies=(die, plant.dies[1]))
    assert (reason in found[0]) if reason else (found == ())


def test_a_layer_without_a_station_is_named() -> None:
    foiled = replace(PLAIN, layer_groups=(*PLAIN.layer_groups, (Layer("foil", "ink"),)))
    assert why_not(foiled) == ("no station can do foil",)


def test_a_missing_channel_is_named() -> None:
    whitened = replace(PLAIN, layer_groups=((Layer("inkjet", channels=frozenset("CMYKW")),),))
    assert why_not(whitened) == ("its inkjet lacks W",)


def test_layers_must_find_stations_in_laying_order() -> None:
    swapped = replace(LAYERED, layer_groups=tuple(reversed(LAYERED.layer_groups)))
    assert why_not(swapped) == (
        "no stations, each used once and in web order, for varnish → inkjet → white → die-cut",
    )


def test_layers_of_one_group_may_lie_in_any_order() -> None:
    free = replace(LAYERED, layer_groups=(tuple(reversed(LAYERED.layers)),))
    problem = Problem(worked_plant(worked_line("H")), (free,))
    assert station_choices(problem, 0, 0) == ((3, 2, 1, 4),)


def test_every_choice_of_stations_is_offered_the_first_in_web_order_first() -> None:
    line = worked_line("H")
    both = tuple(
        replace(station, does=("white", "varnish")) if station.kind == "flexo" else station
        for station in line.stations
    )
    two = replace(PLAIN, layer_groups=((Layer("white", "ink"), Layer("varnish", "ink")),))
    problem = Problem(worked_plant(replace(line, stations=both)), (two,))
    assert station_choices(problem, 0, 0) == ((1, 3, 4), (3, 1, 4))


def test_a_run_needs_as_many_copies_of_a_cylinder_as_it_has_plates() -> None:
    line = worked_line("H")
    cylindered = tuple(
        replace(station, aspects=(*station.aspects, aspect("cylinder", 1, 0)))
        if station.kind == "flexo"
        else station
        for station in line.stations
    )
    dies = tuple(replace(die, print_cylinder="p") for die in worked_plant(line).dies)

    def found(copies: int) -> tuple[str, ...]:
        cylinders = (Cylinder("p", 250_000, copies),)
        return why_not(LAYERED, replace(line, stations=cylindered), dies=dies, cylinders=cylinders)

    assert found(1) == ("needs 2 of cylinder p, there are 1",)
    assert found(2) == ()


def test_a_reel_larger_than_the_rewinder_takes_is_refused() -> None:
    line = replace(worked_line("H"), max_reel_diameter_um=300_000)
    plant = worked_plant(line)
    paper = replace(plant.substrates[0], thickness_um=140)
    job = replace(PLAIN, core_um=76_000, labels_per_reel=4000)
    assert (
        "larger than the rewinder's 300 mm"
        in why_not(job, line, substrates=(paper, *plant.substrates[1:]))[0]
    )
    small = replace(job, labels_per_reel=1000)
    assert why_not(small, line, substrates=(paper, *plant.substrates[1:])) == ()


def test_a_reel_larger_than_the_customer_takes_is_refused() -> None:
    job = replace(PLAIN, labels_per_reel=10_000, core_um=76_000, largest_reel_um=300_000)
    thick = replace(worked_plant(worked_line("H")).substrates[0], thickness_um=150)
    assert why_not(job, substrates=(thick,))[0].endswith("larger than the 300 mm that the customer takes")
    assert why_not(replace(job, labels_per_reel=100), substrates=(thick,)) == ()
    assert why_not(job) == ()


def test_a_job_that_no_line_can_run_is_left_out_with_the_reason_of_each_line() -> None:
    narrow = replace(worked_line("P"), id="narrow", web_width_um=200_000)
    foiled = replace(PLAIN, id="foiled", layer_groups=((Layer("foil", "ink"),),))
    plant = replace(worked_plant(worked_line("H")), lines=(worked_line("H"), narrow))
    result = solve(Problem(plant, (foiled, PLAIN)), Weights(), Stop(work=20))
    (left,) = result.sequences[0].left_out
    assert left.job == "foiled"
    assert left.reasons == (
        "H: no station can do foil",
        "narrow: its web of 330 mm is wider than the line's 200 mm; no station can do foil",
    )


def test_when_nothing_can_run_the_search_says_so() -> None:
    narrow = replace(worked_line("P"), web_width_um=200_000)
    result = solve(Problem(worked_plant(narrow), (PLAIN,)), Weights(), Stop(work=20))
    assert result.status is Status.NOTHING_RUNS
    assert result.sequences[0].runs == ()


def test_stock_that_never_suffices_leaves_the_run_out() -> None:
    line = worked_line("H")
    plant = worked_plant(line)
    scarce = replace(plant.substrates[0], widths=(StockedWidth(WEB_UM, 700 * M_UM),))
    problem = Problem(
        replace(plant, substrates=(scarce, *plant.substrates[1:])),
        (worked_job("first"), worked_job("second")),
    )
    sequence = account(problem, as_entered(problem), Weights())
    assert [run.job for run in sequence.runs] == ["first"]
    assert sequence.left_out[0].reasons == ("paper in 330 mm never suffices for its run on H",)
