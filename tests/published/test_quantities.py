"""What may be sent beyond the quantity.

±10 % of the ordered quantity, some ±5 %, regulated work −0/+10 %: customary in Europe and elsewhere,
common practice, no single source. The solver never plans below the quantity, so of a band it uses the
upper half.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from solver.jobs import Job, Version
from solver.layout import version_run
from solver.plant import Die
from solver.sequence import VersionRun

ONE_BY_ONE = Die("one by one", 100_000, 1, 1, 100_000)
THREE_ACROSS = Die("three across", 100_000, 3, 1, 100_000)


def _target(version: Version, labels_per_reel: int | None = None, die: Die = ONE_BY_ONE) -> VersionRun:
    job = Job(
        "any",
        (version,),
        "",
        die.id,
        labels_per_reel=labels_per_reel,
        full_reels=labels_per_reel is not None,
    )
    return version_run(job, version, die, Fraction(0))


@pytest.mark.parametrize(
    ("ordered", "overs", "expected"),
    [
        (20_000, Fraction(10, 100), 22_000),
        (10_000, Fraction(10, 100), 11_000),
        (8_000, Fraction(10, 100), 8_800),
        (10_000, Fraction(5, 100), 10_500),
    ],
)
def test_the_target_is_the_upper_end_of_the_band(ordered: int, overs: Fraction, expected: int) -> None:
    assert _target(Version("only", ordered, overs)).target == expected


def test_10_percent_over_100_labels_are_110_and_not_111() -> None:
    """100 × 1.1 is above 110 in binary arithmetic; rounding that up would give 111."""
    assert _target(Version("only", 100, Fraction(10, 100))).target == 110


def test_a_part_of_a_label_is_a_whole_one() -> None:
    assert _target(Version("only", 101, Fraction(10, 100))).target == 112


@pytest.mark.parametrize(("ordered", "highest"), [(20_000, 22_000), (10_000, 11_000), (8_000, 8_800)])
def test_full_reels_never_leave_the_band(ordered: int, highest: int) -> None:
    """At 7,000 a reel on 3 lanes the next full drop is 21,000 or more, which only the first band holds."""
    run = _target(Version("only", ordered, max_quantity=highest), labels_per_reel=7_000, die=THREE_ACROSS)
    assert run.target == min(21_000, highest)
    assert run.held_to_maximum == (highest < 21_000)
