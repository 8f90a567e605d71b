"""The reasons of a sequence: why every run stands where it does, and why jobs are late."""

from __future__ import annotations

from dataclasses import dataclass

from solver.account import account_with
from solver.costing import Costing, ScheduledCosting
from solver.explain_lateness import LatenessReasons, LateReasons, ends_its_job
from solver.explain_places import Accounts, PlaceReasons, RunReasons, faults_of
from solver.other_places import Extent, try_places
from solver.schedule import Scheduler
from solver.sequence import Order


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why a sequence is as it is.

    Parameters
    ----------
    runs
        Every run, line by line in order.
    late
        Every late job, in the order of its last run.
    extent, most_places
        Which other places of a run were costed, and how many at most.
    """

    runs: tuple[RunReasons, ...]
    late: tuple[LateReasons, ...]
    extent: Extent
    most_places: int


def explain(scheduler: Scheduler, order: Order, costing: Costing | None = None) -> Reasons:
    """Tell why the runs of an order stand where they do.

    Parameters
    ----------
    costing
        What costs the orders with one run elsewhere, for this scheduler's problem and goal; None for the
        scheduler itself. What is told is costed by the account in any case.
    """
    sequence = account_with(scheduler, order)
    # Runs that can never start are told by the sequence; without them the order comes out the same.
    kept = sequence.order
    tried = try_places(scheduler, kept, costing or ScheduledCosting(scheduler, kept))
    accounts = Accounts(scheduler, sequence, kept)
    places = PlaceReasons(scheduler, sequence, kept, tried, accounts)
    lateness = LatenessReasons(scheduler, sequence, faults_of(sequence, kept), tried, accounts)
    runs = [
        ((line_idx, position), run)
        for line_idx, line in enumerate(sequence.lines)
        for position, run in enumerate(line.runs)
    ]
    return Reasons(
        runs=tuple(places.of(at, run) for at, run in runs),
        late=tuple(
            lateness.of(at, run) for at, run in runs if run.lateness_ms > 0 and ends_its_job(run, sequence)
        ),
        extent=tried.extent,
        most_places=tried.most_places,
    )
