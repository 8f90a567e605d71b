"""Bad plants, jobs and limits are refused when they are made, with all that is wrong at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest

from solver.calendar import Calendar
from solver.jobs import Job, Layer, Version
from solver.make_ready import make_ready_ms
from solver.plant import (
    Aspect,
    AspectRule,
    Consumable,
    Cylinder,
    Delivery,
    Die,
    LoadedStation,
    PresentState,
    Station,
    StockedWidth,
    Substrate,
)
from solver.problem import Problem
from solver.reels import SpliceRule
from solver.search.stop import Stop
from solver.weights import Weights
from tests.builders.worked import worked_job, worked_line, worked_plant

LINE = worked_line("H")
PLANT = worked_plant(LINE)
JOB = worked_job("a")

BAD: list[tuple[Callable[[], object], str]] = [
    (lambda: Aspect("colour", AspectRule.DIFFERS, 0), "name must be one of roll, width"),
    (lambda: Aspect("die", AspectRule.DIFFERS, -1), "duration_ms must not be negative"),
    (lambda: Station("s", "flexo", -1), "x_um must not be negative"),
    (lambda: Station("s", "flexo", 0, strokes_per_min=Fraction(0)), "strokes_per_min must be above 0"),
    (lambda: Station("s", "flexo", 0, channel_speed_um_min={"W": 0}), r"channel_speed_um_min\[W\]"),
    (lambda: PresentState(substrate="paper"), "substrate and width_um must be given together"),
    (lambda: replace(LINE, stations=()), "needs at least a splice table"),
    (lambda: replace(LINE, stations=LINE.stations[1:]), "the splice table must lie at 0"),
    (lambda: replace(LINE, stations=LINE.stations[::-1]), "stations must be in web order"),
    (lambda: replace(LINE, stations=LINE.stations + LINE.stations[-1:]), "holds 'rewinder' twice"),
    (lambda: replace(LINE, hands=0), "hands must be above 0"),
    (lambda: replace(LINE, max_speed_um_min=0), "max_speed_um_min must be above 0"),
    (lambda: replace(LINE, default_spoilage=Fraction(1)), "must be at least 0 and below 1"),
    (lambda: replace(LINE, cold_after_ms=1), "cold_after_ms must not be below hold_ms"),
    (lambda: replace(LINE, pull_back_from_um=9, pull_back_to_um=8), "zone must not end before it begins"),
    (lambda: Delivery(0, -1), "length_um must not be negative"),
    (lambda: StockedWidth(0), "width_um must be above 0"),
    (lambda: Substrate("s", Fraction(-1), ()), "eur_per_m2 must not be negative"),
    (lambda: Cylinder("c", 0), "repeat_um must be above 0"),
    (lambda: Die("d", 1000, 0, 1, 10), "across must be above 0"),
    (lambda: Consumable("c", darkness=Fraction(2)), "darkness must lie between 0 and 1"),
    (lambda: replace(PLANT, after_press_ms=-1), "after_press_ms must not be negative"),
    (lambda: replace(PLANT, wash_up_ms={("a", "b"): -1}), r"wash_up_ms\[a, b\]"),
    (lambda: Version("v", 0), "quantity must be above 0"),
    (lambda: Version("v", 10, max_quantity=9), "max_quantity must be at least the quantity 10, is 9"),
    (lambda: replace(JOB, versions=()), "needs at least one version"),
    (lambda: replace(JOB, layer_groups=((Layer("spot", "ink"),) * 9,)), "has 9 layers, more than 8"),
    (lambda: replace(JOB, full_reels=True), "full_reels needs labels_per_reel"),
    (lambda: replace(JOB, largest_reel_um=0), "largest_reel_um must be above 0"),
    (lambda: replace(JOB, most_splices_a_reel=-1), "most_splices_a_reel must not be negative"),
    (
        lambda: replace(JOB, splice_rule=SpliceRule.NEVER, most_splices_a_reel=1),
        "most_splices_a_reel is 1 where a splice may never lie",
    ),
    (lambda: Weights(waste=Fraction(-1)), "waste must not be negative"),
    (lambda: Calendar(((5, 5),)), "must end after it starts"),
    (lambda: Calendar(((0, 5), (5, 9))), "must begin after the one before"),
    (lambda: make_ready_ms((Fraction(1),), 0), "hands must be above 0"),
    (lambda: Stop(), "a search without a limit does not end"),
    (lambda: Stop(time_s=-1), "time_s must be at least 0"),
    (lambda: Stop(time_s=float("nan")), "time_s must be at least 0"),
    (lambda: Stop(work=-1), "work must be a whole number of at least 0, is -1"),
    (lambda: Problem(PLANT, (JOB, JOB)), "jobs holds 'a' twice"),
    (lambda: Problem(PLANT, (replace(JOB, substrate="wood"),)), "unknown substrate 'wood'"),
    (lambda: Problem(PLANT, (replace(JOB, die="none"),)), "unknown die 'none'"),
    (
        lambda: Problem(PLANT, (replace(JOB, layer_groups=((Layer("varnish", "tar"),),)),)),
        "unknown consumable 'tar'",
    ),
    (
        lambda: Problem(replace(PLANT, dies=(replace(PLANT.dies[0], cylinder="none"),)), ()),
        "names an unknown cylinder 'none'",
    ),
    (
        lambda: Problem(
            replace(
                PLANT,
                dies=(replace(PLANT.dies[0], cylinder="c"), PLANT.dies[1]),
                cylinders=(Cylinder("c", 1),),
            ),
            (),
        ),
        "has repeat 250000 µm, its cylinder c 1 µm",
    ),
]

BAD_PRESENT: list[tuple[PresentState, str]] = [
    (PresentState(substrate="wood", width_um=1), "unknown substrate 'wood'"),
    (PresentState(thrown_off=frozenset({"flexo-9"})), "unknown station 'flexo-9'"),
    (PresentState(loaded=(LoadedStation("flexo-9", {}),)), "unknown station 'flexo-9'"),
    (PresentState(loaded=(LoadedStation("die", {"plate": "p"}),)), "station die has no aspect 'plate'"),
]


@pytest.mark.parametrize(("make", "complaint"), BAD, ids=[complaint for _, complaint in BAD])
def test_a_bad_value_is_refused(make: Callable[[], object], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        make()


@pytest.mark.parametrize(("present", "complaint"), BAD_PRESENT, ids=[text for _, text in BAD_PRESENT])
def test_a_bad_present_state_is_refused(present: PresentState, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        Problem(replace(PLANT, lines=(replace(LINE, present=present),)), ())


def test_all_that_is_wrong_is_said_at_once() -> None:
    bad: Job = replace(JOB, substrate="wood", die="none")
    with pytest.raises(ValueError, match="unknown substrate") as refused:
        Problem(PLANT, (bad, replace(bad, id="b")))
    assert len(str(refused.value).splitlines()) == 4
