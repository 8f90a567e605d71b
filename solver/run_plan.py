"""A job fitted to a line at chosen stations: all that does not depend on what runs before it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from solver.changeover import SPLICE_TABLE, Handover, Prices
from solver.jobs import Job
from solver.layout import Layout, chosen_stock, lay_out
from solver.lots import lot_parts, total_labels
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Changeover, Lot, Placement, RollEnd, Stock
from solver.signatures import JoinKey, join_key
from solver.splits import cheapest_changeover
from solver.tooling import (
    EMPTY,
    CountedTool,
    Needs,
    counted_tools,
    station_needs,
    station_task,
    used_stations,
)
from solver.weights import Weights

MS_PER_H = 3_600_000

Place = tuple[int, int, int]
"""Line, station and aspect index: where a tool can be loaded."""


@dataclass(frozen=True, slots=True, eq=False)
class RunPlan:
    """What a placement takes, worked out once.

    Parameters
    ----------
    idx
        The number of what was worked out; plans of one number, in whatever queue, differ at most in times.
    used, needs
        Stations it uses, in web order, and what it needs at each.
    tools, tool_places
        Counted dies and cylinders it holds, and for each of them where.
    roll_ends
        Where rolls end inside it.
    work_ms
        Running time and roll ends.
    own_need_um
        Web and roll-end waste it takes from its stock, whatever the changeover.
    late_share
        Its labels' share of the job's: 1 where it is all of the job.
    join_key, join_class
        What it shares with those it may run as one with, and the number of that: plans of one
        class may, if they follow each other at once and nothing changes. None where it joins none.
    """

    idx: int
    line_idx: int
    placement: Placement
    job: Job
    used: tuple[int, ...]
    needs: tuple[Needs, ...]
    layout: Layout
    tools: tuple[CountedTool, ...]
    tool_places: dict[str, tuple[Place, ...]]
    roll_ends: tuple[RollEnd, ...]
    work_ms: int
    own_need_um: int
    press_due_ms: int | None
    late_share: Fraction
    join_key: JoinKey | None
    join_class: int | None

    @property
    def lot(self) -> Lot | None:
        return self.placement.lot

    def joins(self, before: RunPlan | None) -> bool:
        """Whether it may run as one with the run before, if that is all that matters."""
        return before is not None and self.join_class is not None and self.join_class == before.join_class

    @property
    def stock(self) -> Stock:
        return self.layout.stock

    def late_eur(self, end_ms: int) -> Fraction:
        """What its job's ending then costs for being late: a missed van once, then by the hour."""
        if self.press_due_ms is None or end_ms <= self.press_due_ms:
            return Fraction(0)
        return self.job.late_eur + self.job.late_eur_per_h * Fraction(end_ms - self.press_due_ms, MS_PER_H)


def make_run_plan(
    problem: Problem,
    weights: Weights,
    idx: int,
    line_idx: int,
    placement: Placement,
    join_classes: dict[JoinKey, int],
) -> RunPlan:
    """Fit a placement's job, or its lot, to its line; a join key not yet seen is numbered.

    Raises
    ------
    ValueError
        Where no stocked width holds the job on this line.
    """
    line = problem.plant.lines[line_idx]
    job = problem.jobs[placement.job_idx]
    stock = chosen_stock(problem, line, job)
    if stock is None:
        raise ValueError(f"job {job.id}: no stocked width holds it on line {line.id}")
    used = used_stations(line, placement.stations)
    needs = station_needs(problem, line, job, placement.stations, stock)
    parts = None if placement.lot is None else lot_parts(problem, placement.job_idx, placement.lot)
    layout = lay_out(problem, line, job, stock, used, parts)
    joins = join_key(line_idx, job, placement, stock)
    ends_um = problem.roll_ends.get((line_idx, placement))
    if ends_um is None:
        ends_um = usual_roll_ends(layout)
    roll_ends = _roll_ends(problem, weights, line, used, stock, ends_um)
    tools = counted_tools(problem, line, job, placement.stations)
    places: dict[str, tuple[Place, ...]] = {}
    for tool in tools:
        place = (line_idx, tool.station_idx, tool.aspect_idx)
        places[tool.key] = (*places.get(tool.key, ()), place)
    return RunPlan(
        idx=idx,
        line_idx=line_idx,
        placement=placement,
        job=job,
        used=used,
        needs=tuple(needs[station_idx] for station_idx in used),
        layout=layout,
        tools=tools,
        tool_places=places,
        roll_ends=roll_ends,
        work_ms=layout.run_ms + sum(end.changeover.duration_ms for end in roll_ends),
        own_need_um=layout.web_um + sum(end.changeover.waste_um for end in roll_ends),
        press_due_ms=press_due_ms(problem, job),
        late_share=_share(problem, placement),
        join_key=joins,
        join_class=None if joins is None else join_classes.setdefault(joins, len(join_classes)),
    )


def press_due_ms(problem: Problem, job: Job) -> int | None:
    """When a job's run must end for it to ship in time; None where it is never late."""
    return None if job.due_ms is None else job.due_ms - problem.plant.after_press_ms


def _share(problem: Problem, placement: Placement) -> Fraction:
    if placement.lot is None:
        return Fraction(1)
    return Fraction(placement.lot.labels, total_labels(problem, placement.job_idx))


def usual_roll_ends(layout: Layout) -> tuple[int, ...]:
    """Where rolls of the usual length are taken to end inside a run: evenly spaced."""
    parts = layout.roll_ends + 1
    return tuple(layout.web_um * part // parts for part in range(1, parts))


def _roll_ends(
    problem: Problem,
    weights: Weights,
    line: Line,
    used: tuple[int, ...],
    stock: Stock,
    ends_um: tuple[int, ...],
) -> tuple[RollEnd, ...]:
    """What roll ends cost: on the strip nothing has to be registered again, only spliced."""
    costs: dict[bool, Changeover] = {}
    for on_strip in {end_um <= 0 for end_um in ends_um}:
        costs[on_strip] = roll_end(problem, weights, line, () if on_strip else used, stock)
    return tuple(RollEnd(end_um, costs[end_um <= 0]) for end_um in ends_um)


def roll_end(
    problem: Problem, weights: Weights, line: Line, used: tuple[int, ...], stock: Stock
) -> Changeover:
    """A changeover with the splice alone, while so many stations are used: no job change, no settling, same
    stock on both sides.
    """
    table = line.stations[SPLICE_TABLE]
    needs = tuple("same roll" if aspect.name == "roll" else None for aspect in table.aspects)
    loaded = tuple("roll at its end" if aspect.name == "roll" else EMPTY for aspect in table.aspects)
    splice = station_task(problem, line, SPLICE_TABLE, loaded, needs)
    eur_per_um = weights.waste_eur_per_um(problem.eur_per_um(stock))
    return cheapest_changeover(
        line,
        Handover(
            used=used,
            outgoing_used=used,
            stopped=(splice,) if splice else (),
            spliced=True,
            job_change=False,
        ),
        Prices(eur_per_um, eur_per_um, weights.changeover * line.eur_per_ms),
    )
