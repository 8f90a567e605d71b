"""A version's web wound on the customer's reels: what is on each, and where on the web it lies."""

from __future__ import annotations

from dataclasses import dataclass

from solver.jobs import Job
from solver.layout import reel_web_um
from solver.plant import Die
from solver.sequence import VersionRun


@dataclass(frozen=True, slots=True)
class WoundDoff:
    """Reels that fill side by side, one in every lane, and come off together.

    Parameters
    ----------
    number
        Counted from 1 in the version.
    from_um, to_um
        Their web, in µm of the version's.
    sold_um
        How much of it is sold; the rest is its share of the spoilage allowance.
    labels
        On each of the reels.
    """

    number: int
    from_um: int
    to_um: int
    sold_um: int
    labels: int


def wound_doffs(job: Job, die: Die, version: VersionRun) -> tuple[WoundDoff, ...]:
    """The doffs of a version in a run, in the order in which they come off.

    All but the last hold the labels of a full reel in every lane; the last holds what is left, fewer as a
    rule. Where whole repeats give a few labels more than full reels take, those are on the last one too. A
    job without labels a reel has one reel a lane. Rejected labels are spread evenly.
    """
    of_a_lane = version.labels // die.across
    ends = [(version.web_um, of_a_lane)]
    if job.labels_per_reel is not None:
        full = version.reels // die.across - 1
        reel_um = reel_web_um(job.labels_per_reel, die, version)
        ends[:0] = ((doff * reel_um, doff * job.labels_per_reel) for doff in range(1, full + 1))
    doffs: list[WoundDoff] = []
    from_um = labels = 0
    for number, (to_um, labels_then) in enumerate(ends, start=1):
        sold_um = _sold_um(version, to_um) - _sold_um(version, from_um)
        doffs.append(WoundDoff(number, from_um, to_um, sold_um, labels_then - labels))
        from_um, labels = to_um, labels_then
    return tuple(doffs)


def _sold_um(version: VersionRun, web_um: int) -> int:
    """What is sold of a version's first web; all that it sells at its end."""
    return web_um * version.good_um // version.web_um
