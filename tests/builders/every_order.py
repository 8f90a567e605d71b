"""Every order of a small queue, for checks by brute force."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import permutations, product

from solver.feasibility import station_choices
from solver.problem import Problem
from solver.sequence import Order, Placement


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
