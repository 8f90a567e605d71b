"""Whether a run runs as one with the run before it."""

from __future__ import annotations

from solver.jobs import Job
from tests.checker.state import Next


def may_run_as_one(head: Next) -> bool:
    """Whether a run and the one before it are lots of one job, or jobs that may join and are made alike."""
    last = head.state.last
    if last is None or last.placement.stations != head.placement.stations or last.stock != head.stock:
        return False
    if last.job.id == head.job.id:
        return True
    return last.job.may_join and head.job.may_join and made_alike(last.job, head.job)


def made_alike(one: Job, other: Job) -> bool:
    """Whether two jobs need the same on every station."""
    same_tools = (one.substrate, one.die, one.slit_layout, one.core_um) == (
        other.substrate,
        other.die,
        other.slit_layout,
        other.core_um,
    )
    return same_tools and one.layer_groups == other.layer_groups and one.low_migration == other.low_migration
