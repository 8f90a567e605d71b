"""Every order of a small queue, for checks by brute force."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import permutations, product

from solver.baselines import started_order
from solver.feasibility import station_choices
from solver.lots import cuts, total_labels
from solver.problem import Problem
from solver.sequence import Lot, Order, Placement


def every_order(problem: Problem) -> Iterator[Order]:
    """Every way of placing all jobs that some line can run, station choices included."""
    lines = range(len(problem.plant.lines))
    options = [
        [
            (line_idx, stations)
            for line_idx in lines
            for stations in station_choices(problem, line_idx, job_idx)
        ]
        for job_idx in range(len(problem.jobs))
    ]
    runnable = [job_idx for job_idx, choices in enumerate(options) if choices]
    for chosen in product(*(options[job_idx] for job_idx in runnable)):
        jobs_on: dict[int, list[Placement]] = {line_idx: [] for line_idx in lines}
        for job_idx, (line_idx, stations) in zip(runnable, chosen, strict=True):
            jobs_on[line_idx].append(Placement(job_idx, stations))
        yield from product(*(permutations(jobs_on[line_idx]) for line_idx in lines))


def every_order_in_lots(problem: Problem) -> Iterator[Order]:
    """The same behind started runs, a job that may be split whole and cut in two wherever it may be."""
    started = started_order(problem)
    begun = {placement.job_idx for placements in started for placement in placements}
    ways = [_ways(problem, job_idx) for job_idx in range(len(problem.jobs)) if job_idx not in begun]
    for chosen in product(*(each for each in ways if each)):
        lots = [options for way in chosen for options in way]
        for placed in product(*lots):
            on: list[list[Placement]] = [[] for _ in problem.plant.lines]
            for line_idx, placement in placed:
                on[line_idx].append(placement)
            for orders in product(*map(permutations, on)):
                yield tuple((*first, *order) for first, order in zip(started, orders, strict=True))


Way = list[list[tuple[int, Placement]]]
"""The runs of a job cut in one way, each with all it may be placed at."""


def _ways(problem: Problem, job_idx: int) -> list[Way]:
    places = [
        (line_idx, stations)
        for line_idx in range(len(problem.plant.lines))
        for stations in station_choices(problem, line_idx, job_idx)
    ]
    if not places:
        return []
    total = total_labels(problem, job_idx)
    parts: list[tuple[Lot | None, ...]] = [(None,)]
    parts += [(Lot(0, cut), Lot(cut, total)) for cut in cuts(problem, job_idx)]
    return [
        [[(line_idx, Placement(job_idx, stations, lot)) for line_idx, stations in places] for lot in lots]
        for lots in parts
    ]
