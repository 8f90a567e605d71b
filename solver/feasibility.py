"""Can a line run a job, at which stations, and if not, why not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import accumulate, islice

from solver.jobs import Job, Layer
from solver.layout import chosen_stock, printed_width_um, reel_diameter_um, web_width_needed_um
from solver.plant import Line, Station
from solver.problem import Problem
from solver.sequence import Placement
from solver.tooling import counted_tools

DIE_CUT = Layer("die-cut")
"""The die is laid like one more layer, after all others."""
MOST_CHOICES = 2_000
"""Station choices looked at for a job on a line."""


def laid_groups(job: Job) -> tuple[tuple[Layer, ...], ...]:
    """The job's layer groups and the die behind them."""
    return (*job.layer_groups, (DIE_CUT,))


def can_do(station: Station, layer: Layer) -> bool:
    """Whether a station can do a layer: its kind, and the channels it needs."""
    return layer.kind in station.does and layer.channels <= station.channels


def choices(line: Line, job: Job) -> Iterator[tuple[int, ...]]:
    """Station indices for every layer in laying order and the die, in lexicographic order.

    Every layer has a station of its own; the stations of a group lie before those of the next.
    """
    groups = [len(group) for group in laid_groups(job)]
    group_idx = [idx for idx, size in enumerate(groups) for _ in range(size)]
    able = [
        [idx for idx, station in enumerate(line.stations) if can_do(station, layer)]
        for group in laid_groups(job)
        for layer in group
    ]
    yield from _extend(able, group_idx, ())


def _extend(
    able: list[list[int]], group_idx: list[int], chosen: tuple[int, ...]
) -> Iterator[tuple[int, ...]]:
    layer_idx = len(chosen)
    if layer_idx == len(able):
        yield chosen
        return
    before = [
        station for station, group in zip(chosen, group_idx, strict=False) if group < group_idx[layer_idx]
    ]
    first = max(before, default=-1) + 1
    for station_idx in able[layer_idx]:
        if station_idx >= first and station_idx not in chosen:
            yield from _extend(able, group_idx, (*chosen, station_idx))


def station_choices(problem: Problem, line_idx: int, job_idx: int) -> tuple[tuple[int, ...], ...]:
    """The station choices of a job on a line, the first in web order first; none if it cannot run.

    At most the first `MOST_CHOICES` of them: free layers on many stations have very many.
    """
    found = problem.seats.get((line_idx, job_idx))
    if found is None:
        found = problem.seats[line_idx, job_idx] = tuple(_able(problem, line_idx, job_idx))
    return found


def _able(problem: Problem, line_idx: int, job_idx: int) -> Iterator[tuple[int, ...]]:
    if not reasons(problem, line_idx, job_idx):
        line, job = problem.plant.lines[line_idx], problem.jobs[job_idx]
        able = (chosen for chosen in choices(line, job) if _has_copies(problem, line, job, chosen))
        yield from islice(able, MOST_CHOICES)


def first_placement(problem: Problem, line_idx: int, job_idx: int) -> Placement | None:
    """A job on a line at the first feasible stations in web order; None if it cannot run there."""
    able = station_choices(problem, line_idx, job_idx)
    return Placement(job_idx, able[0]) if able else None


def stations_fit(problem: Problem, line_idx: int, job_idx: int, chosen: tuple[int, ...]) -> bool:
    """Whether these stations are one of the job's choices on the line."""
    line, job = problem.plant.lines[line_idx], problem.jobs[job_idx]
    sizes = [len(group) for group in laid_groups(job)]
    layers = (*job.layers, DIE_CUT)
    if len(chosen) != len(layers) or len(set(chosen)) != len(chosen):
        return False
    if not all(
        0 <= idx < len(line.stations) and can_do(line.stations[idx], layer)
        for idx, layer in zip(chosen, layers, strict=True)
    ):
        return False
    behind = -1
    for start, size in zip(accumulate(sizes, initial=0), sizes, strict=False):
        group = chosen[start : start + size]
        if group and min(group) <= behind:
            return False
        behind = max(group, default=behind)
    return _has_copies(problem, line, job, chosen)


def reasons(problem: Problem, line_idx: int, job_idx: int) -> tuple[str, ...]:
    """Why a line cannot run a job; empty when it can."""
    line = problem.plant.lines[line_idx]
    job = problem.jobs[job_idx]
    return (
        *_width_reasons(problem, line, job),
        *_die_reasons(problem, line, job),
        *_station_reasons(line, job),
        *_copy_reasons(problem, line, job),
        *_reel_reasons(problem, line, job),
    )


def _mm(length_um: float) -> str:
    return f"{length_um / 1000:g} mm"


def _width_reasons(problem: Problem, line: Line, job: Job) -> Iterator[str]:
    die = problem.dies[job.die]
    needed_um = web_width_needed_um(die, line.edge_trim_um)
    stock = chosen_stock(problem, line, job)
    if stock is None:
        wanted = "in any width" if job.roll_width_um is None else f"as a roll of {_mm(job.roll_width_um)}"
        yield f"{job.substrate} is not stocked {wanted} of at least the {_mm(needed_um)} needed"
    elif stock.width_um > line.web_width_um:
        yield f"its web of {_mm(stock.width_um)} is wider than the line's {_mm(line.web_width_um)}"
    if job.layers and printed_width_um(die) > line.print_width_um:
        yield (
            f"its printed part of {_mm(printed_width_um(die))} is wider than the line's print width of "
            f"{_mm(line.print_width_um)}"
        )


def _die_reasons(problem: Problem, line: Line, job: Job) -> Iterator[str]:
    die = problem.dies[job.die]
    liner_um = problem.substrates[job.substrate].liner_thickness_um
    if liner_um is not None and die.min_liner_um is not None and liner_um < die.min_liner_um:
        least = f"die {die.id} needs a liner of at least {die.min_liner_um} µm"
        yield f"{least}, {job.substrate} has {liner_um} µm"
    if liner_um is not None and die.max_liner_um is not None and liner_um > die.max_liner_um:
        most = f"die {die.id} takes a liner of at most {die.max_liner_um} µm"
        yield f"{most}, {job.substrate} has {liner_um} µm"
    if line.min_repeat_um is not None and die.repeat_um < line.min_repeat_um:
        yield f"its repeat of {_mm(die.repeat_um)} is below the line's least {_mm(line.min_repeat_um)}"
    if line.max_repeat_um is not None and die.repeat_um > line.max_repeat_um:
        yield f"its repeat of {_mm(die.repeat_um)} is above the line's largest {_mm(line.max_repeat_um)}"


def _station_reasons(line: Line, job: Job) -> Iterator[str]:
    if next(choices(line, job), None) is not None:
        return
    missing = False
    for layer in (*job.layers, DIE_CUT):
        if not any(can_do(station, layer) for station in line.stations):
            missing = True
            yield _no_station(line, layer)
    if not missing:
        laid = " → ".join("+".join(layer.kind for layer in group) for group in laid_groups(job))
        yield f"no stations, each used once and in web order, for {laid}"


def _no_station(line: Line, layer: Layer) -> str:
    if not layer.channels:
        return f"no station can do {layer.kind}"
    has = sorted(frozenset[str]().union(*(station.channels for station in line.stations)))
    missing = ", ".join(sorted(layer.channels - set(has)))
    return f"its inkjet lacks {missing or 'a station of all channels'}" if has else "it has no inkjet"


def _has_copies(problem: Problem, line: Line, job: Job, chosen: tuple[int, ...]) -> bool:
    have = problem.copies
    needed = Counter(tool.key for tool in counted_tools(problem, line, job, chosen))
    return all(have[key] >= count for key, count in needed.items())


def _copy_reasons(problem: Problem, line: Line, job: Job) -> Iterator[str]:
    first = next(choices(line, job), None)
    if first is None or any(
        _has_copies(problem, line, job, chosen) for chosen in islice(choices(line, job), MOST_CHOICES)
    ):
        return
    have = problem.copies
    needed = Counter(tool.key for tool in counted_tools(problem, line, job, first))
    for key, count in needed.items():
        if have[key] < count:
            yield f"needs {count} of {key}, there are {have[key]}"


def _reel_reasons(problem: Problem, line: Line, job: Job) -> Iterator[str]:
    thickness_um = problem.substrates[job.substrate].thickness_um
    diameter_um = reel_diameter_um(problem.plant, job, problem.dies[job.die], thickness_um)
    largest_um = line.max_reel_diameter_um
    if diameter_um is not None and largest_um is not None and diameter_um > largest_um:
        yield f"its reels of {_mm(round(diameter_um))} are larger than the rewinder's {_mm(largest_um)}"
    if diameter_um is not None and job.largest_reel_um is not None and diameter_um > job.largest_reel_um:
        taken = _mm(job.largest_reel_um)
        yield f"its reels of {_mm(round(diameter_um))} are larger than the {taken} that the customer takes"
