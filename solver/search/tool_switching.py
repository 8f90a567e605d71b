"""Tool switching: in which order jobs run so that the tools at the stations are switched least.

Every job needs some tools, each at a station of its own, any tool at any station. A tool may stay where it is
while jobs run that do not need it. A switch is a tool put where another one was: the first tool of every
station is free.

problem = ToolSwitching([{"red", "blue"}, {"gold"}, {"blue", "white"}], stations=2)
result = order_tools(problem, Stop(time_s=1))
result.order, result.switches       # (0, 2, 1), 2 or an order as good

"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from functools import partial
from numbers import Integral

import numpy as np

from solver.search.bounding import TIME_SHARE, Bounding, LeastCosts
from solver.search.islands import Found, Score, Task, no_halt, search_islands
from solver.search.stop import Stop
from solver.search.tool_islands import NumberedNeeds, tool_islands, tool_rounds
from solver.search.tool_proof import Proving

Tool = int | str
Loaded = tuple[Tool | None, ...]
"""What every station holds; None: nothing yet."""

FEWEST_SEARCHED = 3
"""The switches of fewer jobs do not depend on their order."""
MOST_JOBS = 1_000
"""A search keeps the square of them in memory, and positions in 16 bits."""
ROUNDING = 1e-6
"""Relative: what the bound's linear solver may be off by; switches are far below its inverse."""


@dataclass(frozen=True)
class ToolSwitching:
    """Jobs to be put in one order.

    Parameters
    ----------
    needs
        The tools of every job, called by whole numbers or by words; a job may need none.
    stations
        How many tools can be loaded at a time, at least 1.

    Raises
    ------
    ValueError
        Where there is no job, where a job's tools are not a set or a list of whole numbers and words, where
        they are more than there are stations, or where `stations` is not a whole number of at least 1.
    """

    needs: Sequence[Collection[Tool]]
    stations: int
    jobs: tuple[frozenset[Tool], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        _check_whole("stations", self.stations)
        if self.stations < 1:
            raise ValueError(f"stations must be at least 1, is {self.stations}")
        if not 1 <= len(self.needs) <= MOST_JOBS:
            raise ValueError(f"needs must have 1 to {MOST_JOBS} jobs, has {len(self.needs)}")
        jobs = tuple(_checked_job(job, tools, self.stations) for job, tools in enumerate(self.needs))
        object.__setattr__(self, "jobs", jobs)

    def __len__(self) -> int:
        return len(self.jobs)

    @property
    def tools(self) -> tuple[Tool, ...]:
        """Every tool that a job needs: numbers before words, each sorted."""
        return tuple(sorted(frozenset().union(*self.jobs), key=_by_kind))

    def switches(self, order: Sequence[int]) -> int:
        """The fewest switches that an order takes.

        Raises
        ------
        ValueError
            Where the order does not hold every job once.
        """
        return keep_soonest(self, order)[0]


@dataclass(frozen=True, slots=True)
class ToolOrder:
    """An order found.

    Parameters
    ----------
    order
        Job indices, first to last.
    switches
        How often a tool is put where another one was.
    loaded
        For every position of the order what every station holds while its job runs.
    bound
        A proved number that no order undercuts.
    work
        Changes of an order tried so far.
    elapsed_s
        Seconds since the stop was made.
    """

    order: tuple[int, ...]
    switches: int
    loaded: tuple[Loaded, ...]
    bound: int
    work: int
    elapsed_s: float

    @property
    def is_proved(self) -> bool:
        """Whether no order takes fewer."""
        return self.switches == self.bound


def order_tools(
    problem: ToolSwitching,
    stop: Stop,
    seed: int = 0,
    threads: int | None = None,
    on_progress: Callable[[ToolOrder], None] | None = None,
) -> ToolOrder:
    """Order jobs so that tools are switched least.

    Parameters
    ----------
    stop
        Limits; work is counted in changes of an order. With a work limit alone the result depends on problem,
        seed and limit, and a larger limit never gives a worse one.
    seed
        Any whole number.
    threads
        How many of the four searches with different settings run at the same time, at least 1; None for as
        many as there are processors, up to 4. It changes the time taken, not the result for a work limit.
    on_progress
        Told the best so far at the beginning, about four times a second, and at the end.

    A search ends before its limits once nothing is left to gain. No order takes fewer switches than there are
    more tools than stations, nor fewer than the linear relaxation of |tools of both| − stations from job to
    job; of a few jobs the fewest are proved, see `Proving`. Each has a quarter of the time at most.

    Raises
    ------
    ValueError
        Where seed or threads are not whole numbers in range.
    """
    _check_whole("seed", seed)
    if threads is not None:
        _check_whole("threads", threads)
    hosts, halt = _hosts(problem), no_halt()
    needs = _numbered(problem, hosts)
    bounding = Bounding(partial(_path_costs, needs), TIME_SHARE, stop, halt)
    proving = Proving(needs, stop, halt)

    def bound() -> int:
        by_path = math.ceil((bounding.value or 0.0) * (1 - ROUNDING))
        return max(0, len(problem.tools) - problem.stations, by_path, proving.fewest or 0)

    def result(found: Found) -> ToolOrder:
        order = _with_guests(hosts, found.order.tolist())
        switches, loaded = keep_soonest(problem, order)
        return ToolOrder(order, switches, loaded, bound(), found.work, found.elapsed_s)

    def report(found: Found) -> None:
        if on_progress is not None:
            on_progress(result(found))

    if len(hosts) < FEWEST_SEARCHED or len(problem.tools) <= problem.stations:
        found = Found((), np.arange(len(hosts)), stop.done, stop.elapsed_s)
        report(found)
        return result(found)

    def least() -> Score:
        return (float(bound()),)

    islands = tool_islands(needs, seed, halt)
    opening: list[list[Task]] = [[bounding.find, partial(proving.prove, islands[0])]]
    rounds = tool_rounds(len(hosts))
    return result(search_islands(islands, rounds, stop, halt, threads, report, opening, least))


def _path_costs(needs: NumberedNeeds) -> LeastCosts:
    """Switches from job to job; the last place is the gap between the last job and the first."""
    return LeastCosts(0.0, np.pad(needs.pairs(), (0, 1)).astype(np.float64))


def keep_soonest(problem: ToolSwitching, order: Sequence[int]) -> tuple[int, tuple[Loaded, ...]]:
    """Load the tools of an order, and where there is no room take off the one that is needed furthest ahead:
    no other way takes fewer switches (Tang and Denardo, Operations Research 36, 1988).

    Returns the switches and what every station holds at every position.

    Raises
    ------
    ValueError
        Where the order does not hold every job once.
    """
    if sorted(order) != list(range(len(problem))):
        raise ValueError(f"order must hold every job from 0 to {len(problem) - 1} once, is {list(order)}")
    ahead: dict[Tool, list[int]] = {tool: [] for tool in problem.tools}
    for position in reversed(range(len(order))):
        for tool in problem.jobs[order[position]]:
            ahead[tool].append(position)
    never = len(order)
    switches, loaded, held = 0, [], list[Tool | None]([None] * problem.stations)
    for job in order:
        for tool in sorted(problem.jobs[job] - set(held), key=_by_kind):
            station = max(range(problem.stations), key=lambda station: _spared(held[station], ahead, never))
            switches += held[station] is not None
            held[station] = tool
        for tool in problem.jobs[job]:
            ahead[tool].pop()
        loaded.append(tuple(held))
    return switches, tuple(loaded)


def _spared(tool: Tool | None, ahead: Mapping[Tool, Sequence[int]], never: int) -> int:
    """The position at which what a station holds is needed next; an empty one goes before all."""
    if tool is None:
        return never + 1
    return ahead[tool][-1] if ahead[tool] else never


def _hosts(problem: ToolSwitching) -> dict[int, list[int]]:
    """Jobs that must be searched for, and with each those that need no tool it does not need.

    Such a job runs right behind its host without a switch, and an order without it takes no more.
    """
    hosts: dict[int, list[int]] = {}
    for job in sorted(range(len(problem)), key=lambda job: (-len(problem.jobs[job]), job)):
        host = next((host for host in hosts if problem.jobs[job] <= problem.jobs[host]), None)
        if host is None:
            hosts[job] = []
        else:
            hosts[host].append(job)
    return {host: hosts[host] for host in sorted(hosts)}


def _with_guests(hosts: Mapping[int, Sequence[int]], order: Sequence[int]) -> tuple[int, ...]:
    """An order of hosts, counted from 0, as an order of all jobs."""
    names = list(hosts)
    return tuple(job for idx in order for job in (names[idx], *hosts[names[idx]]))


def _numbered(problem: ToolSwitching, hosts: Collection[int]) -> NumberedNeeds:
    numbers = {tool: number for number, tool in enumerate(problem.tools)}
    jobs = tuple(tuple(sorted(numbers[tool] for tool in problem.jobs[host])) for host in hosts)
    return NumberedNeeds(jobs, problem.stations)


def _by_kind(tool: Tool) -> tuple[bool, Tool]:
    return isinstance(tool, str), tool


def _checked_job(job: int, tools: Collection[Tool], stations: int) -> frozenset[Tool]:
    if isinstance(tools, str) or not isinstance(tools, AbstractSet | list | tuple):
        raise ValueError(f"needs, job {job}: must be a set or a list of tools, is {tools!r}")
    for tool in tools:
        if isinstance(tool, bool) or not isinstance(tool, int | str):
            raise ValueError(f"needs, job {job}: a tool must be a whole number or a word, is {tool!r}")
    if len(set(tools)) > stations:
        raise ValueError(
            f"needs, job {job}: must be at most {stations} tools, one a station, are {len(set(tools))}"
        )
    return frozenset(tools)


def _check_whole(name: str, value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise ValueError(f"{name} must be a whole number, is {value!r}")
