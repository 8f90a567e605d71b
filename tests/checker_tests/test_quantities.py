"""Labels, metres, minutes and reels as the checker reckons them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from solver.jobs import Job, Version
from solver.plant import Die, Substrate
from tests.checker.quantities import reel_diameter_um, version_run, version_target
from tests.checker.rounding import half_up

DIE = Die("d", repeat_um=250_825, across=3, around=3, label_width_um=100_000)


def job(version: Version, *, per_reel: int | None = None, full_reels: bool = False) -> Job:
    return Job("j", (version,), "paper", "d", labels_per_reel=per_reel, full_reels=full_reels)


def test_a_tenth_of_overs_on_a_hundred_labels_is_a_hundred_and_ten() -> None:
    version = Version("v", 100, overs=Fraction(1, 10))
    assert version_target(job(version), version, DIE) == (110, False)


def test_twenty_thousand_labels_on_three_lanes_take_twenty_one_full_reels() -> None:
    version = Version("v", 20_000)
    ordered = job(version, per_reel=1000, full_reels=True)
    assert version_run(ordered, version, DIE, Fraction(0)).reels == 21


def test_the_maximum_wins_over_full_reels_and_the_result_says_so() -> None:
    version = Version("v", 20_000, max_quantity=20_500)
    assert version_target(job(version, per_reel=1000, full_reels=True), version, DIE) == (20_500, True)


def test_good_web_is_whole_repeats_and_spoilage_rounds_up_to_the_next_micrometre() -> None:
    version = Version("v", 20_000)
    run = version_run(job(version), version, DIE, Fraction(3, 100))
    assert (run.labels, run.good_um) == (2223 * 9, 2223 * 250_825)
    assert run.web_um == -(-2223 * 250_825 * 100 // 97)


def test_a_reel_of_a_thousand_labels_has_the_published_diameter() -> None:
    die = Die("d", repeat_um=250_825, across=1, around=3, label_width_um=100_000)
    substrate = Substrate("paper", Fraction(1), (), thickness_um=140)
    ordered = Job("j", (Version("v", 1),), "paper", "d", core_um=76_000, labels_per_reel=1000)
    diameter_um = reel_diameter_um(ordered, die, substrate, core_wall_um=3_500)
    assert diameter_um == pytest.approx(147_622.766, abs=0.01)


def test_a_reel_of_unknown_thickness_has_no_diameter() -> None:
    ordered = Job("j", (Version("v", 1),), "paper", "d", core_um=76_000, labels_per_reel=1000)
    assert reel_diameter_um(ordered, DIE, Substrate("paper", Fraction(1), ()), 0) is None


@pytest.mark.parametrize(("exact", "rounded"), [("1/2", 1), ("3/2", 2), ("5/2", 3), ("249/100", 2)])
def test_a_half_is_rounded_up(exact: str, rounded: int) -> None:
    assert half_up(Fraction(exact)) == rounded
