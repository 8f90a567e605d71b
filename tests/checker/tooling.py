"""What a run needs at its stations, what stands there, and the tasks between the two."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from solver.jobs import Job, Layer
from solver.locks import Started
from solver.plant import Aspect, AspectRule, Line, Station
from solver.problem import Problem
from solver.sequence import AspectChange, Stock, Task
from tests.checker.quantities import used_stations

SPLICE_TABLE = 0
LONG_AGO_MS = -(10**18)
"""Since when a copy is free that no run of the plan has used."""

Needs = dict[int, dict[str, str]]
"""Needed value by station and aspect; channels apart."""


@dataclass(frozen=True)
class ToolNeed:
    """A die or cylinder that a run needs at a station."""

    station_idx: int
    aspect: str
    tool: str


@dataclass(frozen=True)
class ToolSource:
    """Where a run takes a counted copy: the store if `line_idx` is None, else a station.

    `free_ms` is the end of the last run that used the copy.
    """

    need: ToolNeed
    free_ms: int
    line_idx: int | None = None
    station_idx: int | None = None


@dataclass
class Floor:
    """What stands where: tooling at every station of every line, and counted copies in the store.

    `free_ms` tells for each counted copy at a station when its last run ended.
    """

    loaded: dict[tuple[int, int], dict[str, str]] = field(default_factory=dict)
    free_ms: dict[tuple[int, int, str], int] = field(default_factory=dict)
    store: dict[tuple[str, str], list[int]] = field(default_factory=dict)


def stock_text(stock: Stock) -> str:
    """How a stock is written at the splice table."""
    return f"{stock.substrate}@{stock.width_um}"


def has_aspect(station: Station, name: str) -> bool:
    """Whether a station lists an aspect."""
    return any(aspect.name == name for aspect in station.aspects)


def needed_tooling(problem: Problem, line: Line, job: Job, stations: tuple[int, ...], stock: Stock) -> Needs:
    """What a run needs at every station it uses, by the aspects the station lists."""
    needs: Needs = {}
    for station_idx in used_stations(line, stations):
        wanted = {"slit_layout": job.slit_layout}
        if job.core_um is not None:
            wanted["core"] = str(job.core_um)
        if station_idx == SPLICE_TABLE:
            wanted |= {"roll": stock_text(stock), "width": str(stock.width_um)}
        if station_idx in stations:
            wanted |= _chosen_needs(problem, job, stations.index(station_idx))
        needs[station_idx] = {
            name: value for name, value in wanted.items() if has_aspect(line.stations[station_idx], name)
        }
    return needs


def _chosen_needs(problem: Problem, job: Job, place: int) -> dict[str, str]:
    if place < len(job.layers):
        return _layer_needs(problem, job, job.layers[place])
    wanted = {"die": job.die}
    cylinder = problem.dies[job.die].cylinder
    return wanted if cylinder is None else wanted | {"cylinder": cylinder}


def _layer_needs(problem: Problem, job: Job, layer: Layer) -> dict[str, str]:
    wanted = {"plate": layer.plate, "settings": problem.substrates[job.substrate].print_settings}
    print_cylinder = problem.dies[job.die].print_cylinder
    if layer.plate and print_cylinder is not None:
        wanted["cylinder"] = print_cylinder
    if layer.consumable is not None:
        wanted["consumable"] = layer.consumable
        anilox = problem.consumables[layer.consumable].anilox
        if anilox is not None:
            wanted["anilox"] = anilox
    return wanted


def needed_channels(job: Job, stations: tuple[int, ...]) -> dict[int, frozenset[str]]:
    """Inkjet channels needed by station."""
    return {
        station_idx: layer.channels
        for layer, station_idx in zip(job.layers, stations, strict=False)
        if layer.channels
    }


def tool_needs(needs: Needs) -> tuple[ToolNeed, ...]:
    """The dies and cylinders among the needs, in web order."""
    return tuple(
        ToolNeed(station_idx, aspect, needs[station_idx][aspect])
        for station_idx in sorted(needs)
        for aspect in ("cylinder", "die")
        if aspect in needs[station_idx]
    )


def copies_of(problem: Problem, aspect: str, tool: str) -> int | None:
    """How many there are of a die or cylinder; None where there are always enough."""
    if aspect == "die" and tool in problem.dies:
        return problem.dies[tool].copies
    if aspect == "cylinder" and tool in problem.cylinders:
        return problem.cylinders[tool].copies
    return None


def present_floor(problem: Problem) -> Floor:
    """The present state of all lines; copies that it does not show are in the store.

    A line that becomes free later runs for another plan until then: so long its copies are in use. A
    started run says for itself what is in use.
    """
    floor = Floor()
    started = {lock.line for lock in problem.locks if isinstance(lock, Started)}
    for line_idx, line in enumerate(problem.plant.lines):
        shown = {loaded.station: loaded.tooling for loaded in line.present.loaded}
        for station_idx, station in enumerate(line.stations):
            floor.loaded[line_idx, station_idx] = dict(shown.get(station.id, {}))
    tools = [("die", die.id) for die in problem.plant.dies]
    tools += [("cylinder", cylinder.id) for cylinder in problem.plant.cylinders]
    for aspect, tool in tools:
        copies = copies_of(problem, aspect, tool)
        if copies is None:
            continue
        standing = [place for place, loaded in floor.loaded.items() if loaded.get(aspect) == tool]
        for line_idx, station_idx in standing:
            line = problem.plant.lines[line_idx]
            floor.free_ms[line_idx, station_idx, aspect] = (
                0 if line.id in started else line.present.free_at_ms
            )
        floor.store[aspect, tool] = [LONG_AGO_MS] * (copies - len(standing))
    return floor


def tool_sources(
    problem: Problem, floor: Floor, line_idx: int, needs: tuple[ToolNeed, ...]
) -> tuple[ToolSource, ...] | None:
    """Where the counted copies come from that do not stand at their own station; None if there are too few.

    The store first, then another station of the same line, then other lines: longest free, then line
    order, then web order.
    """
    kept = {
        (line_idx, need.station_idx, need.aspect)
        for need in needs
        if floor.loaded[line_idx, need.station_idx].get(need.aspect) == need.tool
    }
    promised = set(kept)
    store = {tool: sorted(free) for tool, free in floor.store.items()}
    sources = []
    for need in needs:
        counted = copies_of(problem, need.aspect, need.tool) is not None
        if not counted or (line_idx, need.station_idx, need.aspect) in kept:
            continue
        if store[need.aspect, need.tool]:
            sources.append(ToolSource(need, store[need.aspect, need.tool].pop(0)))
            continue
        source = _standing_source(floor, line_idx, need, promised)
        if source is None:
            return None
        sources.append(source)
    return tuple(sources)


def _standing_source(
    floor: Floor, line_idx: int, need: ToolNeed, promised: set[tuple[int, int, str]]
) -> ToolSource | None:
    standing = [
        (
            at_line_idx != line_idx,
            floor.free_ms[at_line_idx, station_idx, need.aspect],
            at_line_idx,
            station_idx,
        )
        for (at_line_idx, station_idx), loaded in floor.loaded.items()
        if loaded.get(need.aspect) == need.tool and (at_line_idx, station_idx, need.aspect) not in promised
    ]
    if not standing:
        return None
    _, free_ms, at_line_idx, station_idx = min(standing)
    promised.add((at_line_idx, station_idx, need.aspect))
    return ToolSource(need, free_ms, at_line_idx, station_idx)


def load(
    problem: Problem, floor: Floor, line_idx: int, needs: Needs, sources: tuple[ToolSource, ...], end_ms: int
) -> None:
    """Put a run's tooling on its stations: copies leave where they stood, replaced ones go to the store."""
    for source in sources:
        _take(floor, source)
    for station_idx, wanted in needs.items():
        loaded = floor.loaded[line_idx, station_idx]
        for aspect, value in wanted.items():
            place = (line_idx, station_idx, aspect)
            replaced_free_ms = floor.free_ms.pop(place, None)
            before = loaded.get(aspect, "")
            if replaced_free_ms is not None and before != value:
                floor.store[aspect, before].append(replaced_free_ms)
            loaded[aspect] = value
            if copies_of(problem, aspect, value) is not None:
                floor.free_ms[place] = end_ms


def _take(floor: Floor, source: ToolSource) -> None:
    aspect = source.need.aspect
    if source.line_idx is None or source.station_idx is None:
        floor.store[aspect, source.need.tool].remove(source.free_ms)
        return
    floor.loaded[source.line_idx, source.station_idx][aspect] = ""
    del floor.free_ms[source.line_idx, source.station_idx, aspect]


def wash_up_ms(problem: Problem, before: str, after: str, duration_ms: int) -> Fraction:
    """minutes × min(2, max(0.5, 1 + darkness(from) − darkness(to))), or the explicit entry."""
    explicit_ms = problem.plant.wash_up_ms.get((before, after))
    if explicit_ms is not None:
        return Fraction(explicit_ms)
    if not before:
        return Fraction(0)
    factor = 1 + _darkness(problem, before) - _darkness(problem, after)
    return duration_ms * min(Fraction(2), max(Fraction(1, 2), factor))


def _darkness(problem: Problem, consumable: str) -> Fraction:
    known = problem.consumables.get(consumable)
    return known.darkness if known is not None else Fraction(0)


def change_ms(problem: Problem, aspect: Aspect, before: str, after: str) -> Fraction:
    """Time of one aspect that differs."""
    if aspect.rule is AspectRule.WASH_UP:
        return wash_up_ms(problem, before, after, aspect.duration_ms)
    return Fraction(aspect.duration_ms)


def channel_change(aspect: Aspect, missing: frozenset[str], awake: frozenset[str]) -> AspectChange:
    """The channels to wake at an inkjet."""
    times = len(missing) if aspect.rule is AspectRule.ADDED else 1
    return AspectChange(
        aspect=aspect.name,
        before="+".join(sorted(awake)),
        after="+".join(sorted(missing | awake)),
        duration_ms=Fraction(times * aspect.duration_ms),
        register_um=aspect.register_um,
    )


def station_changes(
    problem: Problem,
    station: Station,
    loaded: dict[str, str],
    wanted: dict[str, str],
    channels: frozenset[str],
    awake: frozenset[str],
) -> tuple[AspectChange, ...]:
    """The aspects of a station that change; those that take no time are no change."""
    changes = []
    for aspect in station.aspects:
        if aspect.name == "channels" and channels - awake:
            changes.append(channel_change(aspect, channels - awake, awake))
        before, after = loaded.get(aspect.name, ""), wanted.get(aspect.name)
        if after is not None and after != before:
            duration_ms = change_ms(problem, aspect, before, after)
            changes.append(AspectChange(aspect.name, before, after, duration_ms, aspect.register_um))
    return tuple(change for change in changes if change.duration_ms > 0)


def task_of(line: Line, station_idx: int, changes: tuple[AspectChange, ...]) -> Task | None:
    """A station's task: minutes add over aspects, register metres are their largest."""
    if not changes:
        return None
    return Task(
        station_idx=station_idx,
        station=line.stations[station_idx].id,
        x_um=line.stations[station_idx].x_um,
        changes=changes,
        duration_ms=sum((change.duration_ms for change in changes), Fraction(0)),
        register_um=max(change.register_um for change in changes),
    )


def unwind_loaded(unwind: Stock | None) -> dict[str, str]:
    """What the splice table shows of the stock threaded on the unwind."""
    return {} if unwind is None else {"roll": stock_text(unwind), "width": str(unwind.width_um)}


def roll_end_task(line: Line, stock: Stock) -> Task | None:
    """The splice alone, at a roll end inside a run."""
    text = stock_text(stock)
    changes = tuple(
        AspectChange("roll", text, text, Fraction(aspect.duration_ms), aspect.register_um)
        for aspect in line.stations[SPLICE_TABLE].aspects
        if aspect.name == "roll" and aspect.duration_ms > 0
    )
    return task_of(line, SPLICE_TABLE, changes)
