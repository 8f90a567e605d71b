"""Tool switching by arrays: counts of changed orders and of beginnings against plain decoding."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from solver.search.islands import no_halt
from solver.search.kernels.randomness import seeded
from solver.search.kernels.tool_proof import FEWEST, LENGTH, begun_proof, go_on
from solver.search.kernels.tool_switching import (
    AT,
    BEST,
    MISSED,
    NOW,
    SWITCH,
    Cycle,
    Ints,
    begin,
    empty_search,
    search_orders,
    switches_of,
)
from solver.search.tool_islands import NumberedNeeds, tool_islands
from solver.search.tool_switching import ToolSwitching
from tests.examples import first


def _drawn(seed: int, jobs: int, tools: int, stations: int) -> NumberedNeeds:
    """Jobs of 1 tool up to as many as there are stations; every tool is needed."""
    random = np.random.default_rng(seed)
    sizes = random.integers(1, stations + 1, jobs).tolist()
    drawn = [set(random.choice(tools, size, replace=False).tolist()) for size in sizes]
    used = sorted(set().union(*drawn))
    return NumberedNeeds(tuple(tuple(sorted(map(used.index, job))) for job in drawn), stations)


def _decoded(needs: NumberedNeeds, order: Ints) -> int:
    return ToolSwitching(needs.jobs, needs.stations).switches(order.tolist())


@pytest.mark.parametrize(
    ("jobs", "tools", "stations"), [(6, 5, 2), (12, 15, 4), (25, 30, 12), (80, 20, 6), (20, 40, 1)]
)
def test_an_order_is_counted_as_it_is_decoded(jobs: int, tools: int, stations: int) -> None:
    random = np.random.default_rng(jobs)
    for seed in first(range(5)):
        needs = _drawn(seed, jobs, tools, stations)
        arrays = needs.as_arrays()
        for _ in range(8):
            order = random.permutation(jobs)
            counted = switches_of(arrays, order, needs.tools)
            assert counted == _decoded(needs, order)
            assert counted == switches_of(arrays, order[::-1].copy(), needs.tools)


@pytest.mark.parametrize("charge", [0.0, 0.1])
@pytest.mark.parametrize("hot", [0.05, 2.0])
def test_what_is_kept_while_searching_is_what_the_order_comes_to(charge: float, hot: float) -> None:
    needs = _drawn(3, 22, 20, 6)
    arrays = needs.as_arrays(charge)
    search = empty_search(22, needs.tools, seeded(5))
    begin(arrays, search, np.arange(22))
    cycle = Cycle(hot, hot / 2, 1_000_000, 1.5)
    for _ in range(60):
        assert search_orders(arrays, search, cycle, 97, no_halt()) == 97
        fresh = empty_search(22, needs.tools, seeded(0))
        begin(arrays, fresh, search.order)
        assert sorted(search.order.tolist()) == list(range(22))
        np.testing.assert_array_equal(search.changed, search.order)
        np.testing.assert_array_equal(search.counted, fresh.counted)
        np.testing.assert_array_equal(search.behind, fresh.behind)
        assert search.numbers[NOW] == fresh.numbers[NOW]
        assert search.numbers[NOW] - search.counted[-1, MISSED] == SWITCH * _decoded(needs, search.order)
        assert search.numbers[BEST] == _decoded(needs, search.best) <= _decoded(needs, search.order)


def test_positions_up_to_one_and_those_from_it_on_have_no_switch_in_common() -> None:
    needs = _drawn(4, 15, 18, 5)
    arrays = needs.as_arrays()
    order = np.random.default_rng(1).permutation(15)
    whole = switches_of(arrays, order, needs.tools)
    for at in range(1, 14):
        parts = (order[: at + 1].copy(), order[at:].copy())
        assert sum(switches_of(arrays, part, needs.tools) for part in parts) <= whole


def test_an_island_finds_the_same_however_its_work_is_cut_up() -> None:
    needs = _drawn(6, 10, 14, 4)
    whole, cut = (tool_islands(needs, 2, no_halt())[0] for _ in range(2))
    assert whole.advance(60_000) == 60_000
    assert sum(cut.advance(work) for work in (1, 299, 7_700, 40_000, 12_000)) == 60_000
    assert whole.best[0] == cut.best[0]
    np.testing.assert_array_equal(whole.best[1], cut.best[1])


def test_an_adopted_order_becomes_the_best_where_it_is_better() -> None:
    needs = _drawn(7, 14, 16, 4)
    good, other = tool_islands(needs, 1, no_halt())[:2]
    good.advance(50_000)
    before = other.best[0]
    other.adopt(good.best[1].copy())
    assert other.best[0] == good.best[0] < before
    good.adopt(np.arange(14))
    assert good.best[0] == other.best[0]


def test_a_cycle_ends_with_its_changes() -> None:
    needs = _drawn(8, 9, 10, 3)
    search = empty_search(9, needs.tools, seeded(1))
    begin(needs.as_arrays(), search, np.arange(9))
    assert search_orders(needs.as_arrays(), search, Cycle(0.5, 0.1, 500, 1.0), 900, no_halt()) == 500
    assert search.numbers[AT] == 500


def test_a_raised_halt_flag_ends_the_search_at_once() -> None:
    needs = _drawn(9, 9, 10, 3)
    search = empty_search(9, needs.tools, seeded(1))
    begin(needs.as_arrays(), search, np.arange(9))
    up = np.ones(1, np.uint8)
    assert search_orders(needs.as_arrays(), search, Cycle(0.5, 0.1, 500, 1.0), 900, up) == 0


@pytest.mark.parametrize("stations", [1, 2, 3, 5])
@pytest.mark.parametrize("slice_work", [3, 10_000])
def test_a_proof_from_any_order_ends_with_the_fewest_of_all_orders(stations: int, slice_work: int) -> None:
    for seed in first(range(4)):
        needs = _drawn(seed, 6, 9, stations)
        arrays, order = needs.as_arrays(), np.arange(6)
        proof = begun_proof(arrays, order, _decoded(needs, order), needs.pairs())
        while proof.numbers[LENGTH] >= 0:
            go_on(arrays, proof, slice_work)
        fewest = min(switches_of(arrays, np.array(order), needs.tools) for order in permutations(range(6)))
        assert proof.numbers[FEWEST] == fewest == _decoded(needs, proof.best)


def test_the_cheapest_paths_by_pairs_begin_at_every_job() -> None:
    needs = _drawn(2, 5, 12, 4)
    pairs = needs.pairs()
    proof = begun_proof(needs.as_arrays(), np.arange(5), 99, pairs)
    for job in range(5):
        others = [other for other in range(5) if other != job]
        cheapest = min(
            sum(pairs[before, after] for before, after in zip((job, *path), path, strict=False))
            for path in permutations(others)
        )
        assert proof.rest[sum(1 << other for other in others), job] == cheapest
