"""Where the copies of counted dies and cylinders are, and until when they are in use."""

from __future__ import annotations

from typing import NamedTuple

from solver.problem import Problem
from solver.run_plan import Place, RunPlan
from solver.tooling import CountedTool, counted_at, present_loaded


class Copy(NamedTuple):
    """One copy: where it was last loaded (None: in the store), and when it is free."""

    place: Place | None
    free_ms: int


Copies = dict[str, tuple[Copy, ...]]


def present_copies(problem: Problem) -> Copies:
    """Copies as the plan begins: those the present state shows, the rest in the store."""
    counted = problem.copies
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


def copies_free_ms(copies: Copies, plan: RunPlan) -> int:
    """When enough copies of everything the plan needs are free."""
    free_ms = 0
    for key, places in plan.tool_places.items():
        missing = len(places)
        elsewhere_ms: list[int] = []
        for copy in copies[key]:
            if copy.place in places:
                missing -= 1
            else:
                elsewhere_ms.append(copy.free_ms)
        if missing:
            elsewhere_ms.sort()
            free_ms = max(free_ms, elsewhere_ms[missing - 1])
    return free_ms


class Fetch(NamedTuple):
    """A copy that a plan takes from elsewhere to one of its stations."""

    tool: CountedTool
    copy_idx: int
    copy: Copy


def fetches(copies: Copies, plan: RunPlan, at_ms: int) -> tuple[Fetch, ...]:
    """Which copies a plan takes: its own stations keep theirs; else from the store, from another
    station of the line, from another line; the longest free first.

    Raises
    ------
    ValueError
        Where none is free then; only started runs can be given such times.
    """
    found: list[Fetch] = []
    for tool in plan.tools:
        row = copies[tool.key]
        own = (plan.line_idx, tool.station_idx, tool.aspect_idx)
        if own in [copy.place for copy in row]:
            continue
        taken = {fetch.copy_idx for fetch in found if fetch.tool.key == tool.key}
        candidates = [
            (_remoteness(copy, plan), copy.free_ms, copy.place or (), copy_idx)
            for copy_idx, copy in enumerate(row)
            if copy.free_ms <= at_ms
            and copy_idx not in taken
            and copy.place not in plan.tool_places[tool.key]
        ]
        if not candidates:
            raise ValueError(f"job {plan.job.id} has started, but every {tool.key} is in use elsewhere")
        copy_idx = min(candidates)[-1]
        found.append(Fetch(tool, copy_idx, row[copy_idx]))
    return tuple(found)


def _remoteness(copy: Copy, plan: RunPlan) -> int:
    if copy.place is None:
        return 0
    return 1 if copy.place[0] == plan.line_idx else 2


def moved(
    copies: Copies,
    plan: RunPlan,
    fetched: tuple[Fetch, ...],
    removed: tuple[tuple[str, Place], ...],
    end_ms: int,
) -> Copies:
    """Copies once a run holds its own until `end_ms` and what it replaced is back in the store."""
    after = dict(copies)
    for key, place in removed:
        after[key] = tuple([Copy(None, copy.free_ms) if copy.place == place else copy for copy in after[key]])
    for fetch in fetched:
        tool = fetch.tool
        row = list(after[tool.key])
        row[fetch.copy_idx] = Copy((plan.line_idx, tool.station_idx, tool.aspect_idx), end_ms)
        after[tool.key] = tuple(row)
    for key, places in plan.tool_places.items():
        after[key] = tuple(
            [Copy(copy.place, end_ms) if copy.place in places else copy for copy in after[key]]
        )
    return after
