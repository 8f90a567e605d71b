"""What a changeover costs: where the web stops, which metres become waste, how long it takes.

The web's coordinate is 0 where the outgoing run's last sellable metre ends and grows upstream. A stop
is made when that point reaches the position of the last station of its group of tasks.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from solver.layout import MS_PER_MIN, round_half_up
from solver.make_ready import make_ready_ms
from solver.plant import Line, Station
from solver.sequence import Changeover, Mode, Stop, Task

Interval = tuple[int, int]

SPLICE_TABLE = 0
"""Index of the splice table on every line. It sets nothing on the web but the splice itself."""


@dataclass(frozen=True, slots=True)
class Handover:
    """What a changeover has to bring about.

    Parameters
    ----------
    used, outgoing_used
        Indices of the stations that the incoming and the outgoing run use, in web order.
    stopped, hidden
        Tasks to be done in stops and tasks done while the run before ran, in web order.
    reengaged
        Indices of used stations that were thrown off.
    spliced, another_substrate
        Whether the stock changes, and whether its substrate does.
    job_change
        False for a roll end inside a run, and where a run runs as one with the run before.
    clean_down_ms
        Cleaning for a low-migration block that begins or ends.
    """

    used: tuple[int, ...]
    outgoing_used: tuple[int, ...]
    stopped: tuple[Task, ...] = ()
    hidden: tuple[Task, ...] = ()
    reengaged: tuple[int, ...] = ()
    spliced: bool = False
    another_substrate: bool = False
    mode: Mode = Mode.HELD
    cold: bool = False
    job_change: bool = True
    clean_down_ms: int = 0


@dataclass(frozen=True, slots=True)
class Prices:
    """Weighed prices by which splits are compared."""

    outgoing_eur_per_um: Fraction = Fraction(0)
    incoming_eur_per_um: Fraction = Fraction(0)
    eur_per_ms: Fraction = Fraction(0)

    @property
    def scaled(self) -> tuple[int, int, int]:
        """The prices as integers in one common unit, so that equal costs compare equal."""
        prices = (self.outgoing_eur_per_um, self.incoming_eur_per_um, self.eur_per_ms)
        unit = math.lcm(*(price.denominator for price in prices))
        return (int(prices[0] * unit), int(prices[1] * unit), int(prices[2] * unit))


Groups = tuple[tuple[Task, ...], ...]
"""Stopped tasks parted into stops, in web order."""


def runs_on(handover: Handover) -> bool:
    """Whether the web just runs on: it is held, and nothing is changed, re-engaged, spliced, warmed up or
    cleaned. Then two runs that may join do.
    """
    return (
        handover.mode is Mode.HELD
        and not (handover.stopped or handover.hidden or handover.reengaged)
        and not (handover.spliced or handover.cold or handover.clean_down_ms)
    )


def changeover_with(line: Line, handover: Handover, groups: Groups) -> Changeover:
    """The changeover with its tasks done in these stops."""
    stop_x_um = [
        line.stations[-1].x_um if handover.mode is Mode.RUN_OUT else group[-1].x_um for group in groups
    ]
    stopped_at_um = stops_by_station(handover, groups, stop_x_um)
    splice_um = stopped_at_um.get(SPLICE_TABLE, 0) if handover.spliced else None
    strip_um = strip_length_um(line, handover, stopped_at_um, splice_um)
    before, after = spoiled(line, handover, stop_x_um, strip_um)
    spoil_um = sum(end - start for start, end in (*before, *after))
    stops = tuple(
        Stop(at_x_um=x_um, tasks=group, duration_ms=stop_duration_ms(line, group))
        for x_um, group in zip(stop_x_um, groups, strict=True)
    )
    duration_ms = sum((stop.duration_ms for stop in stops), Fraction(fixed_ms(line, handover)))
    duration_ms += Fraction((strip_um + spoil_um) * MS_PER_MIN, line.setup_speed_um_min)
    return Changeover(
        mode=handover.mode,
        cold=handover.cold,
        stops=stops,
        hidden=handover.hidden,
        reengaged=tuple(line.stations[idx].id for idx in handover.reengaged),
        splice_at_um=splice_um,
        strip_um=strip_um,
        spoil_before=before,
        spoil_after=after,
        splice_um=line.splice_um if handover.spliced else 0,
        start_up_um=line.start_up_um if handover.cold else 0,
        clean_down_ms=handover.clean_down_ms,
        duration_ms=round_half_up(duration_ms),
    )


def stops_by_station(handover: Handover, groups: Groups, stop_x_um: list[int]) -> dict[int, int]:
    """By station index: where the last sellable metre is when the station's stop is made.

    A run out has one stop for every used station and the splice, whether they have a task or not.
    """
    if handover.mode is Mode.RUN_OUT:
        return dict.fromkeys((SPLICE_TABLE, *handover.used), stop_x_um[0])
    return {task.station_idx: x_um for x_um, group in zip(stop_x_um, groups, strict=True) for task in group}


def stop_duration_ms(line: Line, group: tuple[Task, ...]) -> Fraction:
    """A stop and the make-ready of its tasks on the hands at hand."""
    return line.stop_ms + make_ready_ms(tuple(task.duration_ms for task in group), line.hands)


def fixed_ms(line: Line, handover: Handover) -> int:
    """What a changeover takes however its tasks are parted into stops."""
    duration_ms = handover.clean_down_ms
    if handover.job_change:
        duration_ms += line.job_change_ms
    if handover.cold:
        duration_ms += line.start_up_ms
    return duration_ms


def least_strip_um(line: Line, handover: Handover, splice_um: int | None) -> int:
    """The shortest strip there can be with a splice there, whatever the stations need."""
    strip_um = splice_um or 0
    if handover.another_substrate:
        strip_um = max(strip_um, (splice_um or 0) + line.settle_um)
    if handover.job_change:
        strip_um = max(strip_um, line.job_change_um)
    return strip_um


def registers_um(line: Line, handover: Handover) -> dict[int, int]:
    """Register metres of the used stations that have any, by station index."""
    register_um = {task.station_idx: task.register_um for task in (*handover.stopped, *handover.hidden)}
    for station_idx in handover.reengaged:
        reengage_um = line.stations[station_idx].reengage_um
        register_um[station_idx] = max(reengage_um, register_um.get(station_idx, 0))
    return register_um


class Registering(NamedTuple):
    """The web `[from_um, to_um)` behind the last sellable metre on which a station comes into register.

    Both ends are the same where it has no register metres: then it is set from there on.
    """

    station_idx: int
    from_um: int
    to_um: int


def registering(
    line: Line, handover: Handover, stopped_at_um: dict[int, int], splice_um: int | None
) -> Iterator[Registering]:
    """Where each used station is set on the strip, along the web.

    A station is set on web that all before it have worked: M_k is the largest first coordinate of the
    used stations up to k. Registering together, it takes M_k to M_k + register_k; in turn,
    t = max(t, M_k) to t + register_k along the web.
    """
    register_um = registers_um(line, handover)
    set_um = 0
    in_turn_um = 0
    for x_um, station_idxs in by_position(line, handover.used):
        set_um = max(
            set_um,
            *(first_um(line, idx, x_um, stopped_at_um.get(idx), splice_um) for idx in station_idxs),
        )
        for station_idx in station_idxs:
            from_um = max(in_turn_um, set_um) if line.registers_in_turn else set_um
            in_turn_um = from_um + register_um.get(station_idx, 0)
            yield Registering(station_idx, from_um, in_turn_um)


def strip_length_um(
    line: Line, handover: Handover, stopped_at_um: dict[int, int], splice_um: int | None
) -> int:
    """Web from the last sellable metre to the first on which every station is set."""
    set_um = max((there.to_um for there in registering(line, handover, stopped_at_um, splice_um)), default=0)
    return max(set_um, least_strip_um(line, handover, splice_um))


def by_position(line: Line, used: Iterable[int]) -> Iterator[tuple[int, list[int]]]:
    """Used stations behind the splice table by position: those at one place are set on the same web."""
    at: dict[int, list[int]] = {}
    for station_idx in used:
        if station_idx != SPLICE_TABLE:
            at.setdefault(line.stations[station_idx].x_um, []).append(station_idx)
    yield from at.items()


def first_um(line: Line, station_idx: int, x_um: int, stop_x_um: int | None, splice_um: int | None) -> int:
    """First coordinate on which a station can do its new work.

    Web already past it when its stop is made, or past the splice with heads lifted, is lost, less
    what the line can pull back.
    """
    station: Station = line.stations[station_idx]
    past_um = 0 if stop_x_um is None else stop_x_um - x_um
    lift_um = 0 if splice_um is None else station.lift_um
    least_um = splice_um or 0
    reclaimed_um = 0
    in_zone = line.pull_back_from_um <= x_um <= line.pull_back_to_um
    if stop_x_um is not None and in_zone and least_um <= past_um:
        reach_um = max(0, min(stop_x_um, line.pull_back_to_um) - x_um) + lift_um
        reclaimed_um = min(line.pull_back_um, reach_um)
    return max(least_um, max(past_um, least_um + lift_um) - reclaimed_um)


def spoiled(
    line: Line, handover: Handover, stop_x_um: list[int], strip_um: int
) -> tuple[tuple[Interval, ...], tuple[Interval, ...]]:
    """Printed web that stops spoil at an inkjet: the outgoing run's and the incoming run's.

    What lies on the strip is waste already; a run out spoils nothing.
    """
    if handover.mode is Mode.RUN_OUT or line.restart_um == 0:
        return (), ()
    before: list[Interval] = []
    after: list[Interval] = []
    for station_idx, station in enumerate(line.stations):
        if not station.is_inkjet:
            continue
        for x_um in stop_x_um:
            start_um = x_um - station.x_um
            end_um = start_um + line.restart_um
            if station_idx in handover.outgoing_used and start_um < 0:
                before.append((start_um, min(end_um, 0)))
            if station_idx in handover.used and end_um > strip_um:
                after.append((max(start_um, strip_um), end_um))
    return _union(before), _union(after)


def _union(intervals: list[Interval]) -> tuple[Interval, ...]:
    merged: list[Interval] = []
    for start, end in sorted(intervals):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return tuple(merged)
