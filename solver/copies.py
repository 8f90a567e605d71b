"""Where the copies of counted dies and cylinders are, and until when they are in use."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from solver.problem import Problem
from solver.run_plan import RunPlan
from solver.tooling import CountedTool, copies_by_key, counted_at, present_loaded

Place = tuple[int, int, int]
"""Line, station and aspect index."""


@dataclass(frozen=True, slots=True)
class Copy:
    """One copy: where it was last loaded (None: in the store), and when it is free."""

    place: Place | None
    free_ms: int


Copies = dict[str, tuple[Copy, ...]]


def present_copies(problem: Problem) -> Copies:
    """Copies as the plan begins: those the present state shows, the rest in the store."""
    counted = copies_by_key(problem.plant)
    placed: dict[str, list[Copy]] = {key: [] for key in counted}
    for line_idx, line in enumerate(problem.plant.lines):
        for station_idx, loaded in enumerate(present_loaded(line)):
            for tool in counted_at(line, station_idx, loaded, counted):
                place = (line_idx, station_idx, tool.aspect_idx)
                placed[tool.key].append(Copy(place, line.present.free_at_ms))
    return {
        key: tuple(placed[key]) + (Copy(None, 0),) * (count - len(placed[key]))
        for key, count in counted.items()
    }


def _place(plan: RunPlan, tool: CountedTool) -> Place:
    return (plan.line_idx, tool.station_idx, tool.aspect_idx)


def copies_free_ms(copies: Copies, plan: RunPlan) -> int:
    """When enough copies of everything the plan needs are free."""
    free_ms = 0
    for key, count in Counter(tool.key for tool in plan.tools).items():
        own = {_place(plan, tool) for tool in plan.tools if tool.key == key}
        elsewhere = sorted(copy.free_ms for copy in copies[key] if copy.place not in own)
        missing = count - (len(copies[key]) - len(elsewhere))
        if missing > 0:
            free_ms = max(free_ms, elsewhere[missing - 1])
    return free_ms


@dataclass(frozen=True, slots=True)
class Fetch:
    """A copy that a plan takes from elsewhere to one of its stations."""

    tool: CountedTool
    copy_idx: int
    copy: Copy


def fetches(copies: Copies, plan: RunPlan, at_ms: int) -> tuple[Fetch, ...]:
    """Which copies a plan takes: its own stations keep theirs; else from the store, from another
    station of the line, from another line; the longest free first.
    """
    needed = {_place(plan, tool): tool.key for tool in plan.tools}
    taken: set[tuple[str, int]] = set()
    found: list[Fetch] = []
    for tool in plan.tools:
        own = _place(plan, tool)
        if any(copy.place == own for copy in copies[tool.key]):
            continue
        candidates = [
            (_remoteness(copy, plan), copy.free_ms, copy.place or (), copy_idx)
            for copy_idx, copy in enumerate(copies[tool.key])
            if copy.free_ms <= at_ms
            and (tool.key, copy_idx) not in taken
            and (copy.place is None or needed.get(copy.place) != tool.key)
        ]
        copy_idx = min(candidates)[-1]
        taken.add((tool.key, copy_idx))
        found.append(Fetch(tool, copy_idx, copies[tool.key][copy_idx]))
    return tuple(found)


def _remoteness(copy: Copy, plan: RunPlan) -> int:
    if copy.place is None:
        return 0
    return 1 if copy.place[0] == plan.line_idx else 2


def moved(
    copies: Copies,
    plan: RunPlan,
    fetched: tuple[Fetch, ...],
    removed: list[tuple[str, Place]],
    end_ms: int,
) -> Copies:
    """Copies once a run holds its own until `end_ms` and what it replaced is back in the store."""
    after = dict(copies)
    for key, place in removed:
        after[key] = tuple(Copy(None, copy.free_ms) if copy.place == place else copy for copy in after[key])
    for fetch in fetched:
        row = list(after[fetch.tool.key])
        row[fetch.copy_idx] = Copy(_place(plan, fetch.tool), end_ms)
        after[fetch.tool.key] = tuple(row)
    for tool in plan.tools:
        own = _place(plan, tool)
        after[tool.key] = tuple(Copy(own, end_ms) if copy.place == own else copy for copy in after[tool.key])
    return after
