"""What the rooms of a site have to bring to a line, for which run, and by when.

Which room keeps what is our own reckoning: plates, print cylinders and anilox rolls come from the plate
room, what cuts from the die store, what is used up from the stock room.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from app.contracts.run_sheets import (
    NeededBy,
    NeededItem,
    RollPick,
    StationSetting,
    StockPick,
    ToolAction,
    ToolSetting,
)
from app.translation.roll_picks import Picked
from app.translation.station_settings import RunSettings
from app.translation.times import PlanClock
from solver.changeover import SPLICE_TABLE
from solver.crew_call import Call, FoilReelEnd
from solver.plant import Line
from solver.problem import Problem
from solver.sequence import Run


class Room(StrEnum):
    """Where something is fetched."""

    PLATES = "plate room"
    DIES = "die store"
    STOCK = "stock room"


_ROOMS = {
    "plate": Room.PLATES,
    "cylinder": Room.PLATES,
    "anilox": Room.PLATES,
    "die": Room.DIES,
    "slit_layout": Room.DIES,
    "consumable": Room.STOCK,
    "core": Room.STOCK,
}
"""By aspect; a cylinder that carries a die is with the dies."""

_COMES = frozenset({ToolAction.LOAD, ToolAction.CHANGE, ToolAction.WASH})


@dataclass(frozen=True, slots=True)
class Need:
    """An item, its room, the run it is for, and when it must be there, in ms from the plan's start.

    `inside` tells that the run has begun to print by then.
    """

    room: Room
    item: NeededItem
    run: int
    by_ms: int
    inside: bool = False


def needs_of_line(
    problem: Problem,
    clock: PlanClock,
    line: Line,
    runs: Sequence[Run],
    settings: Sequence[RunSettings],
    picked: Sequence[Picked],
    calls: Sequence[Call],
) -> tuple[Need, ...]:
    """Everything that is to be brought to a line, in the order in which it is needed."""
    needs = list(_tooling(problem, clock, line, runs, settings, calls))
    needs += _webs(line, runs, picked)
    needs += _foil_reels(clock, calls)
    return tuple(sorted(needs, key=lambda need: (need.by_ms, need.run)))


def needed_by(needs: Sequence[Need]) -> NeededBy:
    """Items by room."""

    def of(room: Room) -> tuple[NeededItem, ...]:
        return tuple(need.item for need in needs if need.room is room)

    return NeededBy(plate_room=of(Room.PLATES), die_store=of(Room.DIES), stock_room=of(Room.STOCK))


def _tooling(
    problem: Problem,
    clock: PlanClock,
    line: Line,
    runs: Sequence[Run],
    settings: Sequence[RunSettings],
    calls: Sequence[Call],
) -> Iterator[Need]:
    expected_ms = {call.number: call.expected_ms for call in calls}
    cutting = {
        station.id for station in line.stations if any(aspect.name == "die" for aspect in station.aspects)
    }
    for number, (run, of_run) in enumerate(zip(runs, settings, strict=True), start=1):
        before = runs[number - 2] if number > 1 else None
        for station in of_run.used:
            if station.call is not None:
                by_ms = expected_ms[station.call]
            elif station.while_running and before is not None:
                by_ms = max(0, before.print_start_ms, problem.jobs[run.job_idx].ready_ms)
            else:
                by_ms = max(0, run.changeover_start_ms)
            for setting in station.settings:
                if setting.action in _COMES and setting.aspect in _ROOMS:
                    cuts = setting.aspect == "cylinder" and station.station in cutting
                    room = Room.DIES if cuts else _ROOMS[setting.aspect]
                    item = _item(run.job, station, setting, clock, by_ms)
                    yield Need(room, item, number, by_ms)


def _item(
    job: str, station: StationSetting, setting: ToolSetting, clock: PlanClock, by_ms: int
) -> NeededItem:
    return NeededItem(
        item=setting.after,
        kind=setting.aspect.replace("_", " "),
        station=station.station,
        job=job,
        by=clock.moment(by_ms),
        call=station.call,
    )


def _webs(line: Line, runs: Sequence[Run], picked: Sequence[Picked]) -> Iterator[Need]:
    for there in picked:
        if there.is_there:
            continue
        pick = there.pick
        job = runs[there.run - 1].job
        item = NeededItem(
            item=_web_name(pick),
            kind="roll" if isinstance(pick, RollPick) else "stock",
            station=line.stations[SPLICE_TABLE].id,
            job=job,
            by=pick.needed,
            call=pick.parts[0].call if isinstance(pick, RollPick) else pick.call,
            location=pick.where if isinstance(pick, RollPick) else "",
        )
        inside = there.needed_ms > runs[there.run - 1].print_start_ms
        yield Need(Room.STOCK, item, there.run, there.needed_ms, inside)


def _web_name(pick: RollPick | StockPick) -> str:
    if isinstance(pick, RollPick):
        return f"{pick.roll}, {pick.stock}"
    return f"{pick.substrate} {pick.width_mm:f} mm, {pick.length_m:.1f} m"


def _foil_reels(clock: PlanClock, calls: Sequence[Call]) -> Iterator[Need]:
    """A further reel for every one that ends inside a run."""
    for call in calls:
        if isinstance(call.about, FoilReelEnd):
            item = NeededItem(
                item=call.about.consumable,
                kind="further reel",
                station=call.about.station,
                job=call.job,
                by=clock.moment(call.expected_ms),
                call=call.number,
            )
            yield Need(Room.STOCK, item, call.run, call.expected_ms, inside=True)
