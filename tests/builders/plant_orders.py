"""Orders of a plant, its jobs whole or in lots, through the kernels and through the account."""

from __future__ import annotations

import random

import pytest

from solver.account import account_with
from solver.search.annealing_islands import annealing_islands
from solver.search.compile import CompiledPlant
from solver.search.decode import PlantDecoder
from solver.search.islands import no_halt
from solver.search.kernels.tables import Ints
from solver.sequence import Sequence
from solver.timeline import State
from tests.builders.decoded import traced_figures
from tests.builders.scored import Score, scored


def drawn_plant_numbers(compiled: CompiledPlant, rng: random.Random, split: float = 0.6) -> Ints:
    """All jobs once, at drawn stations, in a drawn order; of those that may be split, such a share in lots.

    A second lot is placed by itself, half of all at the end of what its line has so far, where it may join.
    """
    orders: list[list[int]] = [[] for _ in compiled.lines]
    jobs = list(range(len(compiled.problem.jobs)))
    rng.shuffle(jobs)
    for job_idx in jobs:
        cut, items = 0, [job_idx]
        if job_idx in compiled.splittable and rng.random() < split:
            cut = 1 + rng.randrange(len(compiled.splittable[job_idx]))
            items.append(compiled.second_lot(job_idx))
        for item in items:
            ranges = [line.item_plans[item, cut].tolist() for line in compiled.lines]
            able = [line_idx for line_idx, (first, last) in enumerate(ranges) if last > first]
            if able:
                line_idx = rng.choice(able)
                order = orders[line_idx]
                at = len(order) if rng.random() < 0.5 else rng.randrange(len(order) + 1)
                order.insert(at, rng.randrange(*ranges[line_idx]))
    return compiled.numbered(orders)


def assert_placed_as_accounted(decoder: PlantDecoder, numbers: Ints) -> Sequence:
    """An order comes out of the kernels as out of the account: every time and length exactly, the cost to
    rounding, and the same left out. Returns the account's sequence.
    """
    compiled = decoder.compiled
    placed = decoder.decode(numbers)
    sequence = account_with(compiled.scheduler, compiled.order(numbers))
    assert placed.eur == pytest.approx(float(sequence.weighed_eur), rel=1e-9, abs=1e-9)
    runs = {(run.line, run.placement): run for run in sequence.runs}
    for line_idx, order in enumerate(compiled.line_numbers(numbers)):
        line = compiled.lines[line_idx]
        for position, number in enumerate(order):
            run = runs.pop((line.line.id, line.plans[number].placement), None)
            assert (run is None) == (position in placed.left_out[line_idx])
            if run is not None:
                assert tuple(placed.traces[line_idx][position]) == traced_figures(run)
    assert all(run.changeover is None for run in runs.values())
    return sequence


def assert_scored_as_accounted(compiled: CompiledPlant, numbers: Ints) -> Score:
    """An island that begins from an order has its faults and its cost. Returns the account's score."""
    island = annealing_islands(compiled, [numbers], 0, no_halt())[0]
    island.advance(0)
    score = scored(compiled.scheduler, compiled.order(numbers))
    faults, eur = island.best[0]
    assert faults == score.faults
    assert eur == pytest.approx(score.eur, rel=1e-9, abs=1e-9)
    return score


def placed_in_time(compiled: CompiledPlant, numbers: Ints) -> State:
    """An order as the scheduler places it, with what it fetched, left out and gave up."""
    plans = [
        [compiled.scheduler.plan(line_idx, placement) for placement in placements]
        for line_idx, placements in enumerate(compiled.order(numbers))
    ]
    state = compiled.scheduler.run(plans)
    if state is None:
        raise RuntimeError("a schedule without a limit came to none")
    return state
