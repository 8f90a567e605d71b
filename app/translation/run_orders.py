"""The solver's orders as people give them."""

from __future__ import annotations

from collections.abc import Iterator

from app.contracts.orders import LabelRange, LeftOutLot, LineOrder, OrderedRun, RunOrder
from solver.lots import total_labels
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Lot, Order, Placement


def run_order_of(problem: Problem, order: Order) -> RunOrder:
    """An order of runs that is costed as this one is: what it does not place is meant to stay out."""
    lots = _lots_by_job(order)
    return RunOrder(
        lines=tuple(
            LineOrder(line=line.id, runs=tuple(_run(problem, line, placement) for placement in placements))
            for line, placements in zip(problem.plant.lines, order, strict=True)
        ),
        left_out=tuple(job.id for job_idx, job in enumerate(problem.jobs) if job_idx not in lots),
        left_out_lots=tuple(
            LeftOutLot(job=problem.jobs[job_idx].id, lot=_labels(lot))
            for job_idx, of_job in lots.items()
            for lot in _missing(of_job, total_labels(problem, job_idx) if of_job else 0)
        ),
    )


def _run(problem: Problem, line: Line, placement: Placement) -> OrderedRun:
    return OrderedRun(
        job=problem.jobs[placement.job_idx].id,
        stations=tuple(line.stations[station].id for station in placement.stations),
        lot=None if placement.lot is None else _labels(placement.lot),
    )


def _labels(lot: Lot) -> LabelRange:
    return LabelRange(first_label=lot.first + 1, last_label=lot.last)


def _lots_by_job(order: Order) -> dict[int, list[Lot]]:
    """The lots of every job that is placed; none of one that is placed whole."""
    lots: dict[int, list[Lot]] = {}
    for placements in order:
        for placement in placements:
            of_job = lots.setdefault(placement.job_idx, [])
            if placement.lot is not None:
                of_job.append(placement.lot)
    return lots


def _missing(lots: list[Lot], labels: int) -> Iterator[Lot]:
    """The stretches of a job's labels that no lot holds."""
    held = 0
    for lot in sorted(lots):
        if lot.first > held:
            yield Lot(held, lot.first)
        held = lot.last
    if held < labels:
        yield Lot(held, labels)
