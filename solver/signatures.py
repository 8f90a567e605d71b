"""Signatures: what two jobs must share to run as one."""

from __future__ import annotations

from dataclasses import dataclass

from solver.jobs import Job, Layer
from solver.sequence import Placement, Stock


@dataclass(frozen=True, slots=True)
class Signature:
    """All that is loaded, threaded and set for a job; what it prints and how much is not in it.

    `layer_groups` hold consumables, plates and channels in laying order.
    """

    stock: Stock
    die: str
    layer_groups: tuple[tuple[Layer, ...], ...]
    slit_layout: str
    core_um: int | None
    low_migration: bool


def signature(job: Job, stock: Stock) -> Signature:
    """A job's signature on a line that runs it on a stock."""
    return Signature(stock, job.die, job.layer_groups, job.slit_layout, job.core_um, job.low_migration)


@dataclass(frozen=True, slots=True)
class JoinKey:
    """What runs beside each other on a line must share to run as one.

    `job` is None where any job of the signature may join; else only lots of that job do.
    """

    line_idx: int
    stations: tuple[int, ...]
    signature: Signature
    job: str | None


def join_key(line_idx: int, job: Job, placement: Placement, stock: Stock) -> JoinKey | None:
    """What a placement shares with those it may run as one with; None where it runs as one with none."""
    if not job.may_join and placement.lot is None:
        return None
    alone = None if job.may_join else job.id
    return JoinKey(line_idx, placement.stations, signature(job, stock), alone)
