"""A line's queue before any order of it: which jobs like to follow which, and what that saves."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np

from solver.search.book import Choices
from solver.search.compile import CompiledLine
from solver.search.kernels.tables import Floats, Ints
from solver.search.nearest import nearest_columns

NEAR_JOBS = 10
TINY_EUR = 1e-6


class LineQueue:
    """What is known of a line's queue before any order of it.

    Attributes
    ----------
    choices
        Plans of every job, which jobs each likes to follow, and plans with two stations exchanged.
    usual_changeover_eur
        Roughly what a changeover costs.
    """

    def __init__(self, compiled: CompiledLine) -> None:
        jobs = np.flatnonzero(compiled.job_plans[:, 1] > compiled.job_plans[:, 0])
        distances = _distances(compiled, compiled.job_plans[jobs, 0])
        self.usual_changeover_eur = usual_changeover_eur(compiled, distances)
        self.choices = Choices(
            job_plans=compiled.item_plans,
            near=near_jobs(compiled, jobs, distances),
            exchanged=exchanged_stations(compiled),
        )


def near_jobs(compiled: CompiledLine, jobs: Ints, distances: Floats) -> Ints:
    """(jobs, k) the jobs that each job likes to follow, nearest first, -1 where there are fewer.

    Nearness is what would change at the stations that both use, and the splice.
    """
    near = np.full((compiled.plant.items, most_near(compiled)), -1, np.int64)
    if len(jobs) > 1:
        nearest = jobs[nearest_columns(distances, min(near.shape[1], len(jobs) - 1))]
        near[jobs, : nearest.shape[1]] = nearest
    for second, job in enumerate(compiled.plant.splittable, start=len(compiled.job_plans)):
        near[second] = near[job]
    return near


def most_near(compiled: CompiledLine) -> int:
    """How many near jobs a job has on every line of the plant at most."""
    return min(NEAR_JOBS, max(1, len(compiled.job_plans) - 1))


def _distances(compiled: CompiledLine, plans: Ints) -> Floats:
    """(after, before) euro that changes at shared stations and another stock take, roughly."""
    tables, web = compiled.tables, compiled.web
    slots = len(web.slot_stations)
    held = np.full((len(plans), slots), -1, np.int64)
    for idx, plan in enumerate(plans):
        for need in compiled.slots.needs[plan]:
            held[idx, need.slot] = need.value
    times_ms = web.slot_times.max(axis=1) / web.path[0]["unit"]
    distance = np.zeros((len(plans), len(plans)))
    changed_eur = np.empty_like(distance)
    for slot in range(slots - 1):
        value, eur = held[:, slot], times_ms[slot] * web.path[0]["ms_eur"]
        changed = value[:, None] != value[None, :]
        changed &= (value >= 0)[:, None] & (value >= 0)[None, :]
        distance += np.multiply(changed, eur, out=changed_eur)
    shapes = tables.plans["shape"][plans]
    stocks = web.price_stocks[shapes]
    settle_um = web.path[0]["settle_um"] + web.path[0]["splice_um"]
    splice_ms = web.threading[shapes][:, shapes, 0].T / web.path[0]["unit"]
    other = stocks[:, None] != stocks[None, :]
    distance += splice_ms * web.path[0]["ms_eur"] + other * settle_um * web.um_eur[stocks][:, None]
    return distance


def usual_changeover_eur(compiled: CompiledLine, distances: Floats) -> float:
    """Roughly what a changeover costs: the middle distance between jobs, at least a minute of the line."""
    minute_eur = 60_000 * float(compiled.web.path[0]["ms_eur"])
    middle = float(np.median(distances)) if distances.size else 0.0
    return max(middle, minute_eur, TINY_EUR)


def exchanged_stations(compiled: CompiledLine) -> Ints:
    """(plans, pairs) the plan with two stations exchanged, -1 where there is none; no pairs where no job
    has a choice.
    """
    number = {plan.placement: idx for idx, plan in enumerate(compiled.plans)}
    chosen: set[int] = set()
    for first, last in compiled.job_plans:
        if last - first > 1:
            chosen.update(idx for plan in compiled.plans[first:last] for idx in plan.placement.stations)
    pairs = list(combinations(sorted(chosen), 2))
    found = np.full((len(compiled.plans), len(pairs)), -1, np.int64)
    for pair_idx, pair in enumerate(pairs):
        other = dict(zip(pair, reversed(pair), strict=True))
        for idx, plan in enumerate(compiled.plans):
            stations = tuple(other.get(station, station) for station in plan.placement.stations)
            if stations != plan.placement.stations:
                found[idx, pair_idx] = number.get(replace(plan.placement, stations=stations), -1)
    return found
