"""What a run needs loaded at its stations, and which tasks follow from what is loaded there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from solver.jobs import Job, Layer
from solver.plant import Aspect, AspectRule, Die, Line, Station, tool_key
from solver.problem import Problem
from solver.sequence import AspectChange, Stock, Task

EMPTY = ""
"""What an aspect holds when nothing is loaded."""

Loaded = tuple[str, ...]
"""What a station holds, by aspect in the station's order; channels awake are joined by +."""

Needs = tuple[str | None, ...]
"""What a run needs at a station, by aspect; None where it needs nothing and changes nothing."""

COUNTED = ("die", "cylinder")
"""Aspects that may be counted."""


def used_stations(line: Line, chosen: tuple[int, ...]) -> tuple[int, ...]:
    """Indices of the stations a run uses, in web order: those chosen and those every run passes.

    A station that does nothing and has nothing to load (a camera, a guide) does not matter.
    """
    always = (idx for idx, station in enumerate(line.stations) if not station.does and station.aspects)
    return tuple(sorted({*chosen, *always}))


def channels_text(channels: frozenset[str]) -> str:
    """A set of channels as one text."""
    return "+".join(sorted(channels))


def channels_of(text: str) -> frozenset[str]:
    """The set behind `channels_text`."""
    return frozenset(text.split("+")) if text else frozenset()


def station_needs(
    problem: Problem, line: Line, job: Job, chosen: tuple[int, ...], stock: Stock
) -> dict[int, Needs]:
    """What a run needs at each station it uses, by station index."""
    die = problem.dies[job.die]
    by_station: dict[int, dict[str, str]] = {}
    for layer, station_idx in zip(job.layers, chosen, strict=False):
        by_station[station_idx] = _layer_needs(problem, job, die, layer)
    by_station[chosen[-1]] = {"die": die.id} | ({"cylinder": die.cylinder} if die.cylinder else {})
    everywhere = {
        "roll": f"{stock.substrate}@{stock.width_um}",
        "width": str(stock.width_um),
        "slit_layout": job.slit_layout,
    } | ({"core": str(job.core_um)} if job.core_um is not None else {})
    return {
        station_idx: tuple(
            by_station.get(station_idx, everywhere).get(aspect.name)
            for aspect in line.stations[station_idx].aspects
        )
        for station_idx in used_stations(line, chosen)
    }


def _layer_needs(problem: Problem, job: Job, die: Die, layer: Layer) -> dict[str, str]:
    needs = {"plate": layer.plate, "settings": problem.substrates[job.substrate].print_settings}
    if layer.plate and die.print_cylinder is not None:
        needs["cylinder"] = die.print_cylinder
    if layer.channels:
        needs["channels"] = channels_text(layer.channels)
    if layer.consumable is not None:
        needs["consumable"] = layer.consumable
        anilox = problem.consumables[layer.consumable].anilox
        if anilox is not None:
            needs["anilox"] = anilox
    return needs


@dataclass(frozen=True, slots=True)
class CountedTool:
    """A die or cylinder of which there are only so many, as a run needs it at a station."""

    key: str
    station_idx: int
    aspect_idx: int


def counted_at(
    line: Line, station_idx: int, values: tuple[str | None, ...], counted: dict[str, int]
) -> Iterator[CountedTool]:
    """The counted tools among the values of a station's aspects."""
    for aspect_idx, aspect in enumerate(line.stations[station_idx].aspects):
        value = values[aspect_idx]
        if aspect.name in COUNTED and value and tool_key(aspect.name, value) in counted:
            yield CountedTool(tool_key(aspect.name, value), station_idx, aspect_idx)


def counted_tools(problem: Problem, line: Line, job: Job, chosen: tuple[int, ...]) -> tuple[CountedTool, ...]:
    """The counted tools a run holds, in web order."""
    counted = problem.copies
    if not counted:
        return ()
    needs = station_needs(problem, line, job, chosen, Stock(job.substrate, 0))
    return tuple(
        tool
        for station_idx, values in needs.items()
        for tool in counted_at(line, station_idx, values, counted)
    )


def present_loaded(line: Line) -> tuple[Loaded, ...]:
    """What every station of a line holds before the plan begins."""
    present = line.present
    tooling = {loaded.station: loaded.tooling for loaded in present.loaded}
    threaded = (
        {}
        if present.substrate is None
        else {"roll": f"{present.substrate}@{present.width_um}", "width": str(present.width_um)}
    )
    awake = {"channels": channels_text(present.awake)}
    return tuple(
        tuple(
            (threaded | awake | tooling.get(station.id, {})).get(aspect.name, EMPTY)
            for aspect in station.aspects
        )
        for station in line.stations
    )


def asleep(station: Station, loaded: Loaded) -> Loaded:
    """What a station holds once its line has gone cold: all but its channels."""
    return tuple(
        EMPTY if aspect.rule is AspectRule.ADDED else value
        for aspect, value in zip(station.aspects, loaded, strict=True)
    )


def loaded_after(station: Station, loaded: Loaded, needs: Needs) -> Loaded:
    """What a station holds once a run has been set there."""
    return tuple(
        _value_after(aspect, value, need)
        for aspect, value, need in zip(station.aspects, loaded, needs, strict=True)
    )


def _value_after(aspect: Aspect, value: str, need: str | None) -> str:
    if need is None:
        return value
    if aspect.rule is AspectRule.ADDED:
        return channels_text(channels_of(value) | channels_of(need))
    return need


def station_task(problem: Problem, line: Line, station_idx: int, loaded: Loaded, needs: Needs) -> Task | None:
    """The task at a station, or None where nothing that takes time changes.

    Minutes add over aspects, register metres are the largest of them.
    """
    station = line.stations[station_idx]
    changes: list[AspectChange] = []
    for aspect, before, after in zip(station.aspects, loaded, needs, strict=True):
        if after is None or (station_idx == 0 and before == EMPTY):
            continue
        duration_ms = change_ms(problem, aspect, before, after)
        if duration_ms > 0:
            changes.append(AspectChange(aspect.name, before, after, duration_ms, aspect.register_um))
    if not changes:
        return None
    return Task(
        station_idx=station_idx,
        station=station.id,
        x_um=station.x_um,
        changes=tuple(changes),
        duration_ms=sum((change.duration_ms for change in changes), Fraction(0)),
        register_um=max(change.register_um for change in changes),
    )


def change_ms(problem: Problem, aspect: Aspect, before: str, after: str) -> Fraction:
    """Time of changing one aspect from one value to another."""
    match aspect.rule:
        case AspectRule.DIFFERS:
            return Fraction(aspect.duration_ms if before != after else 0)
        case AspectRule.ADDED:
            return Fraction(aspect.duration_ms * len(channels_of(after) - channels_of(before)))
        case AspectRule.WASH_UP:
            if before in (after, EMPTY):
                return Fraction(0)
            explicit_ms = problem.plant.wash_up_ms.get((before, after))
            if explicit_ms is not None:
                return Fraction(explicit_ms)
            return aspect.duration_ms * wash_up_factor(
                problem.consumables[before].darkness, problem.consumables[after].darkness
            )


def wash_up_factor(before: Fraction, after: Fraction) -> Fraction:
    """min(2, max(1/2, 1 + darkness before − darkness after)): lighter after darker takes longest."""
    return min(Fraction(2), max(Fraction(1, 2), 1 + before - after))
