"""Queues by the tools that jobs need: published instances from a file, drawn ones by two recipes.

The name of a drawn queue counts its jobs, tools and stations. The same name gives the same queue.

- `any 40/60/20`: a job needs a quarter of the stations up to all of them, drawn evenly, and every tool is
  drawn alike. No job needs only what another one needs.
- `inks 40/30/8`: a job needs 1 to 5 inks, at most all stations less one. Inks are drawn with weights 1, 1/2,
  1/3 …: a few are run all day. Many a job needs only what another one needs.
"""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from solver.search.tool_switching import ToolSwitching
from tests.bench.instances import Order

QUEUES = (
    *("any 10/10/4", "any 15/20/6", "any 20/30/10", "any 30/40/15"),
    *("any 40/60/15", "any 40/60/20", "any 40/60/25"),
    *("inks 30/20/6", "inks 40/30/8", "inks 60/24/6", "inks 100/40/8"),
)
MOST_INKS = 5


class NotToolQueuesError(ValueError):
    """A file without instances as they are expected here."""


@dataclass(frozen=True)
class ToolQueue:
    """Tools of every job, stations, and the fewest switches where they are published or known."""

    name: str
    needs: tuple[tuple[int, ...], ...]
    stations: int
    optimum: int | None = None
    best_known: int | None = None

    @property
    def problem(self) -> ToolSwitching:
        """As the search takes it."""
        return ToolSwitching(self.needs, self.stations)


def switches_of(queue: ToolQueue, order: Order) -> int:
    """Switches of an order, counted apart from the search: tools are taken off in the order in which they are
    needed again, latest first, and only where there is no room. The first tool of every station is free.
    """
    held: list[int] = []
    loads = 0
    for position, job in enumerate(order):
        missing = [tool for tool in queue.needs[job] if tool not in held]
        loads += len(missing)
        ahead = [tool for later in order[position:] for tool in queue.needs[later]]
        held = sorted([*held, *missing], key=lambda tool: _next(tool, ahead))[: queue.stations]
    return loads - min(queue.stations, len({tool for job in queue.needs for tool in job}))


def _next(tool: int, ahead: Sequence[int]) -> int:
    return ahead.index(tool) if tool in ahead else len(ahead)


def published(path: Path) -> list[ToolQueue]:
    """Instances of a JSON file: entries of `checks` whose `inputs` have `tools` and `capacity`, and under
    `expected` the fewest switches with the first loads free.

    Raises
    ------
    NotToolQueuesError
        Where the file has none.
    """
    entries = json.loads(path.read_text(encoding="utf-8")).get("checks", [])
    found = [
        ToolQueue(
            entry["id"],
            tuple(map(tuple, entry["inputs"]["tools"])),
            entry["inputs"]["capacity"],
            optimum=entry["expected"]["min_switches_first_load_free"],
        )
        for entry in entries
        if {"tools", "capacity"} <= set(entry.get("inputs", ()))
        and "min_switches_first_load_free" in entry.get("expected", ())
    ]
    if not found:
        raise NotToolQueuesError(f"{path.name}: no entry of `checks` has tools and a capacity")
    return found


def drawn(name: str) -> ToolQueue:
    """The queue of a name.

    Raises
    ------
    ValueError
        Where the name is not a recipe and three numbers.
    """
    recipe, _, numbers = name.partition(" ")
    jobs, tools, stations = map(int, numbers.split("/"))
    rng = random.Random(name)
    if recipe == "any":
        return ToolQueue(name, _any(rng, jobs, tools, stations), stations)
    if recipe == "inks":
        return ToolQueue(name, _inks(rng, jobs, tools, stations), stations)
    raise ValueError(f"{name}: a recipe is `any` or `inks`, not `{recipe}`")


def _any(rng: random.Random, jobs: int, tools: int, stations: int) -> tuple[tuple[int, ...], ...]:
    needs: list[set[int]] = []
    while len(needs) < jobs:
        size = rng.randint(max(1, stations // 4), stations)
        drawn_job = set(rng.sample(range(tools), size))
        if not any(drawn_job <= job or job <= drawn_job for job in needs):
            needs.append(drawn_job)
    return tuple(tuple(sorted(job)) for job in needs)


def _inks(rng: random.Random, jobs: int, inks: int, stations: int) -> tuple[tuple[int, ...], ...]:
    weights = [1 / (rank + 1) for rank in range(inks)]

    def job() -> tuple[int, ...]:
        size = rng.randint(1, min(MOST_INKS, stations - 1))
        needed: set[int] = set()
        while len(needed) < size:
            needed.update(rng.choices(range(inks), weights))
        return tuple(sorted(needed))

    return tuple(job() for _ in range(jobs))
