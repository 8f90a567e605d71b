"""Tool switching: decoding against every way of loading, orders against all orders, bounds, refusals."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, permutations
from typing import Any

import numpy as np
import pytest

from solver.search.islands import no_halt
from solver.search.stop import Stop
from solver.search.tool_islands import NumberedNeeds, tool_islands
from solver.search.tool_proof import Proving
from solver.search.tool_switching import ToolOrder, ToolSwitching, keep_soonest, order_tools
from tests.examples import first

State = tuple[frozenset[Any], frozenset[int]]
"""What is loaded, and the jobs that have run."""


def _drawn(seed: int, jobs: int, tools: int, stations: int) -> ToolSwitching:
    """Jobs of 1 tool up to as many as there are stations."""
    random = np.random.default_rng(seed)
    sizes = random.integers(1, stations + 1, jobs).tolist()
    return ToolSwitching([random.choice(tools, size, replace=False).tolist() for size in sizes], stations)


def _fewest_by_loading(problem: ToolSwitching, order: Sequence[int]) -> int:
    """Fewest switches of an order, over everything that could be loaded at every position."""
    room = min(problem.stations, len(problem.tools))
    everything = [frozenset(loaded) for loaded in combinations(problem.tools, room)]
    fewest = dict.fromkeys(everything, 0)
    for job in order:
        fewest = {
            loaded: min(switches + len(loaded - before) for before, switches in fewest.items())
            for loaded in everything
            if problem.jobs[job] <= loaded
        }
    return min(fewest.values())


def _fewest_of_all_orders(problem: ToolSwitching) -> int:
    return min(_switches(problem, order) for order in permutations(range(len(problem))))


def _switches(problem: ToolSwitching, order: Sequence[int]) -> int:
    """Switches of an order: what is needed last is taken off first, and only where there is no room."""
    held: list[Any] = []
    loads = 0
    for position, job in enumerate(order):
        missing = problem.jobs[job] - set(held)
        loads += len(missing)
        ahead = [problem.jobs[later] for later in order[position:]]
        next_need = {
            tool: next((idx for idx, needs in enumerate(ahead) if tool in needs), len(ahead))
            for tool in (*held, *missing)
        }
        held = sorted(next_need, key=lambda tool: next_need[tool])[: problem.stations]
    return loads - min(problem.stations, len(problem.tools))


def _fewest_by_states(problem: ToolSwitching) -> int:
    """The fewest switches, switch by switch over what is loaded and which jobs have run: no order and no rule
    of what to take off is behind it.
    """
    tools = frozenset(problem.tools)

    def with_those_that_can_run(loaded: frozenset[Any], done: frozenset[int]) -> State:
        return loaded, done | {job for job, needs in enumerate(problem.jobs) if needs <= loaded}

    room = min(problem.stations, len(tools))
    states = {with_those_that_can_run(frozenset(held), frozenset()) for held in combinations(tools, room)}
    seen, switches = set(states), 0
    while all(len(done) < len(problem) for _, done in states):
        states = {
            with_those_that_can_run(loaded - {off} | {on}, done)
            for loaded, done in states
            for off in loaded
            for on in tools - loaded
        } - seen
        seen |= states
        switches += 1
    return switches


def _assert_sound(problem: ToolSwitching, result: ToolOrder) -> None:
    """Every job once, its tools at stations of their own, and as many switches as are to be seen."""
    assert sorted(result.order) == list(range(len(problem)))
    seen = 0
    before: Sequence[int | str | None] = [None] * problem.stations
    for job, loaded in zip(result.order, result.loaded, strict=True):
        held = [tool for tool in loaded if tool is not None]
        assert len(loaded) == problem.stations
        assert len(set(held)) == len(held)
        assert problem.jobs[job] <= set(held)
        seen += sum(was not in (None, now) for was, now in zip(before, loaded, strict=True))
        before = loaded
    assert seen == result.switches == problem.switches(result.order)
    assert result.bound <= result.switches


@pytest.mark.parametrize("stations", [1, 2, 3, 4])
def test_keeping_what_is_needed_soonest_takes_as_few_switches_as_any_way_of_loading(stations: int) -> None:
    for seed in first(range(12)):
        problem = _drawn(seed, 6, 7, stations)
        order = np.random.default_rng(seed).permutation(6).tolist()
        assert keep_soonest(problem, order)[0] == _fewest_by_loading(problem, order)
        assert keep_soonest(problem, order)[0] == _switches(problem, order)


def test_the_first_tool_of_every_station_is_free_and_a_kept_tool_stays_where_it_is() -> None:
    problem = ToolSwitching([{"red"}, {"blue", "gold"}, {"red", "white"}], stations=3)
    switches, loaded = keep_soonest(problem, (0, 1, 2))
    assert switches == 1
    assert loaded[0] == ("red", None, None)
    assert loaded[1] == ("red", "blue", "gold")
    assert loaded[2][0] == "red"
    assert "white" in loaded[2]


@pytest.mark.parametrize(
    ("jobs", "tools", "stations"),
    [(1, 3, 3), (2, 5, 3), (3, 6, 3), (5, 8, 3), (6, 9, 4), (6, 6, 2), (7, 10, 5), (5, 3, 8)],
)
def test_no_order_of_a_small_queue_takes_fewer_switches_and_that_is_proved(
    jobs: int, tools: int, stations: int
) -> None:
    for seed in range(3 if jobs < 7 else 1):
        problem = _drawn(10 * jobs + seed, jobs, max(tools, stations), stations)
        result = order_tools(problem, Stop(work=5_000), seed)
        _assert_sound(problem, result)
        assert result.switches == _fewest_of_all_orders(problem)
        assert result.is_proved


@pytest.mark.parametrize("seed", first([1, 2]))
def test_nine_jobs_take_as_few_switches_as_the_shortest_way_through_all_states(seed: int) -> None:
    problem = _drawn(seed, 9, 8, 3)
    result = order_tools(problem, Stop(work=50_000), seed)
    _assert_sound(problem, result)
    assert result.switches == _fewest_by_states(problem)


@pytest.mark.parametrize("seed", first([0, 1, 2, 3]))
def test_the_search_alone_finds_what_is_proved_for_twelve_jobs(seed: int) -> None:
    random = np.random.default_rng(seed)
    jobs = tuple(tuple(sorted(random.choice(18, 3 + job % 4, replace=False).tolist())) for job in range(12))
    used = sorted({tool for job in jobs for tool in job})
    needs = NumberedNeeds(tuple(tuple(used.index(tool) for tool in job) for job in jobs), 7)
    proving = Proving(needs, Stop(work=1), no_halt())
    proving.prove(tool_islands(needs, 0, no_halt())[0])
    islands = tool_islands(needs, seed, no_halt())
    for island in islands:
        island.advance(100_000)
    assert min(island.best[0] for island in islands) == (proving.fewest,)


@pytest.mark.parametrize("tools", [12, 30])
def test_no_order_is_below_the_bound_and_the_bound_not_below_tools_less_stations(tools: int) -> None:
    for seed in first(range(4)):
        problem = _drawn(seed, 20, tools, 5)
        result = order_tools(problem, Stop(work=20_000), seed)
        _assert_sound(problem, result)
        assert result.bound >= len(problem.tools) - 5


def test_the_path_from_job_to_job_bounds_where_jobs_need_every_station() -> None:
    pairs = [[2 * job, 2 * job + 1] for job in range(16)]
    problem = ToolSwitching([*pairs, *([0, tool] for tool in range(2, 32, 2))], stations=2)
    result = order_tools(problem, Stop(work=400_000))
    _assert_sound(problem, result)
    assert result.bound > len(problem.tools) - 2


def test_a_job_that_needs_nothing_new_costs_nothing() -> None:
    big = _drawn(3, 7, 9, 4)
    small = [sorted(tools)[:2] for tools in big.jobs] + [[]]
    whole = ToolSwitching([*small, *big.needs, *big.needs], 4)
    result = order_tools(whole, Stop(work=50_000))
    _assert_sound(whole, result)
    assert result.switches == order_tools(big, Stop(work=50_000)).switches


def test_as_many_stations_as_tools_are_never_switched() -> None:
    problem = _drawn(5, 30, 6, 6)
    result = order_tools(problem, Stop(work=1000))
    _assert_sound(problem, result)
    assert (result.switches, result.bound, result.work) == (0, 0, 0)


def test_threads_do_not_change_what_is_found() -> None:
    problem = _drawn(6, 40, 30, 8)
    results = [order_tools(problem, Stop(work=150_003), 4, threads) for threads in (1, 2, 4)]
    assert len({(result.order, result.work, result.loaded) for result in results}) == 1


def test_more_work_never_gives_more_switches_and_none_exceeds_its_limit() -> None:
    problem = _drawn(7, 30, 25, 6)
    found = []
    for work in (0, 1, 999, 20_000, 100_001, 600_000):
        result = order_tools(problem, Stop(work=work), seed=1)
        _assert_sound(problem, result)
        assert result.work <= work
        found.append(result.switches)
    assert found == sorted(found, reverse=True)
    assert found[-1] < found[0]


def test_what_tools_are_called_does_not_matter() -> None:
    problem = _drawn(8, 20, 15, 5)
    named = ToolSwitching([{f"ink {tool:02}" for tool in tools} for tools in problem.jobs], 5)
    by_number, by_name = (order_tools(each, Stop(work=30_000), 2) for each in (problem, named))
    assert by_number.order == by_name.order
    assert by_number.switches == by_name.switches


@pytest.mark.parametrize("jobs", [1, 3, 12, 50])
def test_without_any_time_there_is_an_order(jobs: int) -> None:
    problem = _drawn(9, jobs, 20, 5)
    result = order_tools(problem, Stop(time_s=0))
    _assert_sound(problem, result)
    assert result.work == 0


def test_a_search_cancelled_on_the_way_keeps_what_it_has() -> None:
    problem = _drawn(10, 50, 30, 6)
    asked = 0

    def cancelled() -> bool:
        nonlocal asked
        asked += 1
        return asked > 25

    result = order_tools(problem, Stop(work=10**15, cancelled=cancelled))
    _assert_sound(problem, result)
    assert result.work < 10**15


def test_progress_begins_at_once_never_gets_worse_and_ends_with_the_result() -> None:
    seen: list[ToolOrder] = []
    problem = _drawn(11, 40, 30, 6)
    result = order_tools(problem, Stop(work=200_000), on_progress=seen.append)
    assert seen[0].work == 0
    assert (seen[-1].order, seen[-1].work) == (result.order, result.work)
    switches = [progress.switches for progress in seen]
    assert switches == sorted(switches, reverse=True)
    for progress in seen:
        _assert_sound(problem, progress)


@pytest.mark.parametrize(
    ("needs", "stations", "complaint"),
    [
        ([], 2, "needs must have 1 to 1000 jobs, has 0"),
        ([[1]], 0, "stations must be at least 1, is 0"),
        ([[1]], 2.0, r"stations must be a whole number, is 2\.0"),
        ([[1], [1, 2, 3]], 2, "needs, job 1: must be at most 2 tools, one a station, are 3"),
        ([[1], "ab"], 2, "needs, job 1: must be a set or a list of tools, is 'ab'"),
        ([7], 2, "needs, job 0: must be a set or a list of tools, is 7"),
        ([[1, 2.5]], 2, r"needs, job 0: a tool must be a whole number or a word, is 2\.5"),
        ([[True]], 2, "needs, job 0: a tool must be a whole number or a word, is True"),
    ],
)
def test_bad_input_is_refused_with_its_place(needs: Any, stations: Any, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        ToolSwitching(needs, stations)


@pytest.mark.parametrize("order", [[0, 0], [0], [0, 2], [0, 1, 1]])
def test_an_order_that_does_not_hold_every_job_once_has_no_switches(order: list[int]) -> None:
    with pytest.raises(ValueError, match="order must hold every job from 0 to 1 once"):
        ToolSwitching([[1], [2]], 1).switches(order)


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ({"threads": 0}, "there must be an island and a thread"),
        ({"threads": 1.5}, "threads must be a whole number"),
        ({"seed": "1"}, "seed must be a whole number"),
    ],
)
def test_senseless_threads_and_seeds_are_refused(arguments: dict[str, Any], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        order_tools(_drawn(1, 15, 12, 3), Stop(work=10), **arguments)
