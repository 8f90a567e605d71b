"""Which lines can run a job, and on which stations."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from solver.jobs import Job, Layer
from solver.plant import Line, Station
from solver.problem import Problem
from solver.sequence import Stock
from tests.checker.quantities import needed_width_um, printed_width_um, reel_diameter_um, stock_for
from tests.checker.tooling import copies_of, needed_tooling, tool_needs

DIE_CUT = "die-cut"


def width_refusals(problem: Problem, line: Line, job: Job) -> list[str]:
    """Why stock and widths do not suit."""
    die = problem.dies[job.die]
    refusals = []
    stock = stock_for(problem, line, job)
    if stock is None:
        refusals.append(f"no stocked width of {job.substrate} holds {needed_width_um(line, die)} µm as asked")
    elif stock.width_um > line.web_width_um:
        refusals.append(f"the stock is {stock.width_um} µm wide, the line takes {line.web_width_um} µm")
    if job.layers and printed_width_um(die) > line.print_width_um:
        refusals.append(f"{printed_width_um(die)} µm are printed, the line prints {line.print_width_um} µm")
    return refusals


def liner_refusals(problem: Problem, job: Job) -> list[str]:
    """Why the die does not suit the liner, where its thickness is known."""
    die, liner_um = problem.dies[job.die], problem.substrates[job.substrate].liner_thickness_um
    if liner_um is None:
        return []
    if die.min_liner_um is not None and liner_um < die.min_liner_um:
        return [f"the liner of {liner_um} µm is too thin for die {die.id}"]
    if die.max_liner_um is not None and liner_um > die.max_liner_um:
        return [f"the liner of {liner_um} µm is too thick for die {die.id}"]
    return []


def repeat_refusals(problem: Problem, line: Line, job: Job) -> list[str]:
    """Why the die's repeat is out of the line's range."""
    repeat_um = problem.dies[job.die].repeat_um
    if line.min_repeat_um is not None and repeat_um < line.min_repeat_um:
        return [f"repeat {repeat_um} µm is below the line's {line.min_repeat_um} µm"]
    if line.max_repeat_um is not None and repeat_um > line.max_repeat_um:
        return [f"repeat {repeat_um} µm is above the line's {line.max_repeat_um} µm"]
    return []


def reel_refusals(problem: Problem, line: Line, job: Job) -> list[str]:
    """Why a full reel does not fit the rewinder or the customer."""
    substrate = problem.substrates[job.substrate]
    diameter_um = reel_diameter_um(job, problem.dies[job.die], substrate, problem.plant.core_wall_um)
    if diameter_um is None:
        return []
    limits = {"rewinder": line.max_reel_diameter_um, "customer": job.largest_reel_um}
    return [
        f"a reel of {diameter_um:.0f} µm does not fit the {who}"
        for who, limit_um in limits.items()
        if limit_um is not None and diameter_um > limit_um
    ]


def line_refusals(problem: Problem, line: Line, job: Job) -> list[str]:
    """Every reason why a line cannot run a job; none if it can."""
    refusals = [
        *width_refusals(problem, line, job),
        *liner_refusals(problem, job),
        *repeat_refusals(problem, line, job),
        *reel_refusals(problem, line, job),
    ]
    if next(legal_choices(problem, line, job), None) is None:
        refusals.append("its layers and its die find no stations in order with copies enough")
    return refusals


def station_does(station: Station, layer: Layer) -> bool:
    """Whether a layer is possible at a station."""
    return layer.kind in station.does and layer.channels <= station.channels


def legal_choices(problem: Problem, line: Line, job: Job) -> Iterator[tuple[int, ...]]:
    """All choices of stations for the layers and the die, the first in web order first."""
    groups = [group_idx for group_idx, group in enumerate(job.layer_groups) for _ in group]
    for stations in _extended(line, job, groups, ()):
        if not copy_refusals(problem, line, job, stations):
            yield stations


def _extended(line: Line, job: Job, groups: list[int], chosen: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    place = len(chosen)
    if place == len(job.layers):
        yield from (
            (*chosen, station_idx)
            for station_idx, station in enumerate(line.stations)
            if DIE_CUT in station.does and all(station_idx > layer_idx for layer_idx in chosen)
        )
        return
    for station_idx, station in enumerate(line.stations):
        in_order = all(
            station_idx > earlier
            for earlier, group in zip(chosen, groups, strict=False)
            if group < groups[place]
        )
        if station_does(station, job.layers[place]) and station_idx not in chosen and in_order:
            yield from _extended(line, job, groups, (*chosen, station_idx))


def copy_refusals(problem: Problem, line: Line, job: Job, stations: tuple[int, ...]) -> list[str]:
    """Dies and cylinders of which a run needs more copies than there are."""
    any_stock = Stock(job.substrate, line.web_width_um)
    needs = tool_needs(needed_tooling(problem, line, job, stations, any_stock))
    refusals = []
    for (aspect, tool), wanted in Counter((need.aspect, need.tool) for need in needs).items():
        copies = copies_of(problem, aspect, tool)
        if copies is not None and wanted > copies:
            refusals.append(f"needs {wanted} copies of {aspect} {tool}, there are {copies}")
    return refusals
