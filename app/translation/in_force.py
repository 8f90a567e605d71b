"""The sequence in force for the solver."""

from __future__ import annotations

from app.contracts.orders import LabelRange, OrderedRun, RunOrder
from solver.in_force import InForce, RunInForce
from solver.plant import Line, Plant
from solver.sequence import Lot


def solver_in_force_of(order: RunOrder, plant: Plant) -> InForce:
    """The sequence in force, on the lines that the plant has; what it leaves out plays no part.

    Raises
    ------
    ValueError
        Where it has a job twice.
    """
    runs = {line_order.line: line_order.runs for line_order in order.lines}
    return InForce(tuple(tuple(_run(line, run) for run in runs.get(line.id, ())) for line in plant.lines))


def _run(line: Line, run: OrderedRun) -> RunInForce:
    station_idx = {station.id: idx for idx, station in enumerate(line.stations)}
    stations = None
    if run.stations is not None and set(run.stations) <= set(station_idx):
        stations = tuple(station_idx[station] for station in run.stations)
    return RunInForce(run.job, stations, None if run.lot is None else solver_lot_of(run.lot))


def solver_lot_of(labels: LabelRange) -> Lot:
    """Labels, which people count from 1, the last one included."""
    return Lot(labels.first_label - 1, labels.last_label)
