"""Paths that cost money for set-ups, for every unit of lateness and once for being late."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from solver.search.islands import no_halt, search_islands
from solver.search.path_islands import PathCosts, path_islands, path_rounds
from solver.search.stop import Stop

JOBS = 7


def _drawn_costs(seed: int) -> PathCosts:
    random = np.random.default_rng(seed)
    return PathCosts(
        cost=random.integers(0, 4000, (JOBS + 1, JOBS)) / 100,
        time=random.integers(0, 12, (JOBS + 1, JOBS)),
        process=random.integers(1, 15, JOBS),
        due=random.integers(0, 14 * JOBS, JOBS),
        late_per_unit=random.integers(0, 300, JOBS) / 100,
        late_once=(random.integers(0, 2, JOBS) * 25).astype(float),
        least_gain=1e-6,
    )


def _cost(costs: PathCosts, order: tuple[int, ...]) -> float:
    total, now, before = 0.0, 0, JOBS
    for job in order:
        now += int(costs.time[before, job] + costs.process[job])
        late = max(0, now - int(costs.due[job]))
        total += costs.cost[before, job] + costs.late_per_unit[job] * late + costs.late_once[job] * (late > 0)
        before = job
    return float(total)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_the_cheapest_of_all_paths_is_found_and_its_cost_told(seed: int) -> None:
    costs = _drawn_costs(seed)
    halt = no_halt()
    islands = path_islands(costs, seed, halt)
    found = search_islands(islands, path_rounds(JOBS), Stop(work=1_000_000), halt)
    told = _cost(costs, tuple(int(job) for job in found.order))
    assert found.score == pytest.approx((told,))
    assert told == pytest.approx(min(_cost(costs, order) for order in permutations(range(JOBS))))
