"""Labels delivered of versions, and where those beyond the quantity come from."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from solver.account import account
from solver.baselines import as_entered
from solver.delivered import DeliveredVersion, delivered_versions
from solver.jobs import Version
from solver.sequence import Lot, Placement
from solver.weights import Weights
from tests.builders.called import SEEDS, drawn_sequence
from tests.builders.worked import worked_job, worked_line, worked_problem
from tests.examples import examples


def delivered_of(version: Version, labels_per_reel: int | None = None) -> DeliveredVersion:
    """Of one job on the worked line: 3 lanes, 2 labels in a repeat."""
    job = replace(
        worked_job("job"),
        versions=(version,),
        labels_per_reel=labels_per_reel,
        full_reels=labels_per_reel is not None,
    )
    problem = worked_problem(worked_line("H"), job)
    (delivered,) = delivered_versions(problem, account(problem, as_entered(problem), Weights()))
    return delivered


def overs_of(version: DeliveredVersion) -> tuple[int, int, int]:
    return version.overs_asked, version.overs_full_reels, version.overs_whole_repeats


def test_overs_asked_and_those_of_whole_repeats_are_told_apart() -> None:
    """1,000 and 2 % are 1,020 labels, which is 170 repeats; 1,001 of them are 1,022, so 171 repeats."""
    assert overs_of(delivered_of(Version("v", 1000, Fraction(2, 100)))) == (20, 0, 0)
    version = delivered_of(Version("v", 1001, Fraction(2, 100)))
    assert overs_of(version) == (21, 0, 4)
    assert (version.made, version.delivered) == (1026, 1026)


def test_full_reels_in_every_lane_are_a_cause_of_their_own() -> None:
    version = delivered_of(Version("v", 20_000), labels_per_reel=1000)
    assert overs_of(version) == (0, 1000, 0)
    assert version.made == 21_000


def test_a_maximum_holds_full_reels_back_and_what_a_repeat_gives_beyond_is_not_sent() -> None:
    version = delivered_of(Version("v", 20_000, max_quantity=20_500), labels_per_reel=1000)
    assert (version.target, version.held_back) == (20_500, 500)
    assert overs_of(version) == (0, 500, 2)
    assert (version.made, version.delivered, version.beyond_most) == (20_502, 20_500, 2)


def test_a_maximum_holds_overs_back_before_full_reels() -> None:
    version = delivered_of(Version("v", 20_000, Fraction(1, 10), 21_000), labels_per_reel=1000)
    assert (version.held_back, overs_of(version)) == (3_000, (1_000, 0, 0))


def test_a_lot_left_out_is_missing_and_the_version_is_told_to_be_short() -> None:
    job = replace(worked_job("job"), versions=(Version("v", 12_000),), least_lot=1000)
    problem = worked_problem(worked_line("H"), job)
    placed = Placement(0, as_entered(problem)[0][0].stations, Lot(0, 5000))
    (version,) = delivered_versions(problem, account(problem, ((placed,),), Weights()))
    assert (version.made, version.left_out, version.is_short) == (5004, 7000, True)


@examples(40)
@given(SEEDS, st.integers(1, 2), st.booleans())
def test_causes_add_up_and_no_version_is_below_its_quantity(seed: int, lines: int, lots: bool) -> None:
    problem, sequence = drawn_sequence(seed, lines, "balanced", lots)
    versions = delivered_versions(problem, sequence)
    for version in versions:
        assert version.made == version.quantity + sum(overs_of(version)) - version.left_out
        assert min(overs_of(version)) >= 0
        assert not version.is_short or version.left_out > 0
        assert version.most is None or version.delivered <= version.most
    made = sum(made.labels for run in sequence.runs for made in run.versions)
    assert sum(version.made for version in versions) == made
