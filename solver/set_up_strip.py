"""The set-up strip as the crew sees it: where each station is set, and what a late stop costs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from solver.changeover import (
    SPLICE_TABLE,
    Handover,
    Interval,
    registering,
    spoiled,
    stops_by_station,
    strip_length_um,
)
from solver.plant import Line
from solver.sequence import Changeover, Mode, Stock, Task
from solver.tooling import used_stations

METRE_UM = 1_000_000


@dataclass(frozen=True, slots=True)
class SetOn:
    """A station and the web on which it comes into register.

    `from_um` and `to_um` are µm behind the outgoing run's last sellable metre, without splice and start-up.
    Both are the same where the station only has to be on from there: it has nothing to register.
    """

    station: str
    from_um: int
    to_um: int


@dataclass(frozen=True, slots=True)
class SetUpStrip:
    """A changeover's waste on the web, in µm behind the outgoing run's last sellable metre.

    Parameters
    ----------
    length_um
        Up to the incoming run's first sellable metre, without splice and start-up.
    splice_at_um
        Where the splice lies; what is before it is outgoing stock left blank. None without a splice.
    splice_um, start_up_um
        Web cut away in the splice; web of a cold start.
    set_on
        Where every station that the incoming run uses is set, in web order.
    spoil_before, spoil_after
        Print that stops spoil: of the outgoing run below 0, of the incoming one beyond the strip.
    """

    length_um: int
    splice_at_um: int | None
    splice_um: int
    start_up_um: int
    set_on: tuple[SetOn, ...]
    spoil_before: tuple[Interval, ...]
    spoil_after: tuple[Interval, ...]


@dataclass(frozen=True, slots=True)
class LateStop:
    """What a stop costs that is made too late, or too early.

    Parameters
    ----------
    outgoing_um_per_m, incoming_um_per_m
        Further web lost of the outgoing and the incoming stock, in µm, when the stop is one metre late. Where
        another station decides how long the strip is, being late costs nothing at first.
    next_due_um
        So many µm late the changeover's next stop is due as well, and both are made as one; None where no
        stop follows.
    again_ms, again_um
        A stop made too early has to be repeated, since its stations are still at work on the outgoing run: a
        further stop's time in ms, and the print that it spoils in µm. A late one is never repeated.
    """

    outgoing_um_per_m: int
    incoming_um_per_m: int
    next_due_um: int | None
    again_ms: int
    again_um: int


def handover_of(
    line: Line,
    changeover: Changeover,
    chosen: tuple[int, ...],
    chosen_before: tuple[int, ...] | None,
    outgoing: Stock | None,
    incoming: Stock,
    job_change: bool = True,
) -> Handover:
    """What a changeover brought about, for its geometry.

    Parameters
    ----------
    chosen, chosen_before
        The stations chosen for the layers and the die of the incoming and the outgoing run; None where the
        plan has no run before.
    outgoing, incoming
        Their stocks; None where nothing was threaded.
    job_change
        False for a roll end inside a run.
    """
    by_id = {station.id: station_idx for station_idx, station in enumerate(line.stations)}
    return Handover(
        used=used_stations(line, chosen),
        outgoing_used=() if chosen_before is None else used_stations(line, chosen_before),
        stopped=tuple(task for stop in changeover.stops for task in stop.tasks),
        hidden=changeover.hidden,
        reengaged=tuple(by_id[station] for station in changeover.reengaged),
        spliced=changeover.splice_at_um is not None,
        another_substrate=outgoing is not None and outgoing.substrate != incoming.substrate,
        mode=changeover.mode,
        cold=changeover.cold,
        job_change=job_change and not changeover.joined,
        clean_down_ms=changeover.clean_down_ms,
    )


def set_up_strip(line: Line, changeover: Changeover, handover: Handover) -> SetUpStrip:
    """A changeover's strip with the web on which its stations are set."""
    groups = tuple(stop.tasks for stop in changeover.stops)
    stopped_at_um = stops_by_station(handover, groups, _stops_um(changeover))
    return SetUpStrip(
        length_um=changeover.strip_um,
        splice_at_um=changeover.splice_at_um,
        splice_um=changeover.splice_um,
        start_up_um=changeover.start_up_um,
        set_on=tuple(
            SetOn(line.stations[there.station_idx].id, there.from_um, there.to_um)
            for there in registering(line, handover, stopped_at_um, changeover.splice_at_um)
        ),
        spoil_before=changeover.spoil_before,
        spoil_after=changeover.spoil_after,
    )


def late_stop(line: Line, changeover: Changeover, handover: Handover, stop_idx: int) -> LateStop:
    """What a changeover's stop costs when it is made a metre late, its other stops in time."""
    stops_um = _stops_um(changeover)
    groups = tuple(stop.tasks for stop in changeover.stops)
    in_time = _waste_um(line, handover, groups, stops_um)
    late_um = [x_um + METRE_UM * (idx == stop_idx) for idx, x_um in enumerate(stops_um)]
    late = _waste_um(line, handover, groups, late_um)
    following_um = [after - before for before, after in pairwise(stops_um)]
    return LateStop(
        outgoing_um_per_m=late[0] - in_time[0],
        incoming_um_per_m=late[1] - in_time[1],
        next_due_um=following_um[stop_idx] if stop_idx < len(following_um) else None,
        again_ms=line.stop_ms,
        again_um=0 if handover.mode is Mode.RUN_OUT else line.restart_um,
    )


def _stops_um(changeover: Changeover) -> list[int]:
    return [stop.at_x_um for stop in changeover.stops]


def _waste_um(
    line: Line, handover: Handover, groups: tuple[tuple[Task, ...], ...], stops_um: list[int]
) -> tuple[int, int]:
    """Waste of the outgoing and the incoming stock when the stops are made there."""
    stopped_at_um = stops_by_station(handover, groups, stops_um)
    splice_um = stopped_at_um.get(SPLICE_TABLE, 0) if handover.spliced else None
    strip_um = strip_length_um(line, handover, stopped_at_um, splice_um)
    before, after = spoiled(line, handover, stops_um, strip_um)
    blank_um = splice_um or 0
    before_um = sum(to_um - from_um for from_um, to_um in before)
    after_um = sum(to_um - from_um for from_um, to_um in after)
    return blank_um + before_um, strip_um - blank_um + after_um
