"""Versions wound on customer reels, by hand on a die of 3 lanes and 2 labels in a repeat of 250 mm."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from solver.customer_reels import WoundDoff, wound_doffs
from solver.jobs import Job, Version
from solver.layout import version_run
from solver.plant import Die
from tests.builders.worked import worked_job

DIE = Die("die", 250_000, 3, 2, 100_000)
PITCH_UM = 125_000


def job_of(quantity: int, labels_per_reel: int | None, full_reels: bool = False) -> Job:
    return replace(
        worked_job("job"),
        versions=(Version("v", quantity),),
        labels_per_reel=labels_per_reel,
        full_reels=full_reels,
    )


def doffs_of(job: Job, spoilage: Fraction = Fraction(0)) -> tuple[WoundDoff, ...]:
    return wound_doffs(job, DIE, version_run(job, job.versions[0], DIE, spoilage))


def test_the_last_reel_of_every_lane_is_short() -> None:
    """20,000 labels on 3 lanes are 6,668 a lane in whole repeats: six reels of 1,000 and one of 668."""
    doffs = doffs_of(job_of(20_000, 1000))
    assert [doff.labels for doff in doffs] == [1000] * 6 + [668]
    assert [doff.to_um for doff in doffs[:6]] == [1000 * PITCH_UM * number for number in range(1, 7)]
    assert doffs[-1].to_um == 6668 * PITCH_UM


def test_full_reels_are_21_where_20_would_do() -> None:
    doffs = doffs_of(job_of(20_000, 1000, full_reels=True))
    assert [doff.labels for doff in doffs] == [1000] * 7
    assert len(doffs) * DIE.across == 21


def test_labels_that_whole_repeats_add_to_full_reels_are_on_the_last() -> None:
    """Reels of 125 labels end in the middle of a repeat of two."""
    doffs = doffs_of(job_of(375 * 3, 125, full_reels=True))
    assert [doff.labels for doff in doffs] == [125, 125, 126]


def test_a_lane_is_one_reel_where_the_customer_says_nothing() -> None:
    (doff,) = doffs_of(job_of(6000, None))
    assert (doff.labels, doff.from_um, doff.to_um) == (2000, 0, 2000 * PITCH_UM)


def test_every_reel_has_its_share_of_the_spoilage_allowance() -> None:
    """A fifth is rejected: a reel of 1,000 labels takes 1,250 labels' web, of which 1,000 are sold."""
    doffs = doffs_of(job_of(6000, 1000), Fraction(1, 5))
    assert [(doff.from_um, doff.to_um) for doff in doffs] == [
        (0, 1250 * PITCH_UM),
        (1250 * PITCH_UM, 2500 * PITCH_UM),
    ]
    assert [doff.sold_um for doff in doffs] == [1000 * PITCH_UM] * 2
