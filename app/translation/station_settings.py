"""How the stations of a line are set run by run: what stays, what is washed up, changed, loaded or woken."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.contracts.run_sheets import StationSetting, ToolAction, ToolSetting
from app.translation.sequences import loaded_text
from app.translation.units import m_from_um, min_from_ms
from solver.crew_call import Call
from solver.plant import Aspect, AspectRule, Line, Station
from solver.problem import Problem
from solver.sequence import AspectChange, Run, Stop, Task
from solver.tooling import (
    EMPTY,
    Loaded,
    asleep,
    channels_of,
    channels_text,
    loaded_after,
    present_loaded,
    station_needs,
    used_stations,
)


@dataclass(frozen=True, slots=True)
class RunSettings:
    """The stations that a run uses, in web order, and those that are thrown off with what they keep."""

    used: tuple[StationSetting, ...]
    idle: tuple[str, ...]


def settings_of_runs(
    problem: Problem, line: Line, runs: Sequence[Run], calls: Sequence[Call]
) -> Iterator[RunSettings]:
    """The settings of a line's runs in order.

    What a changeover's tasks say is what is there and what comes. Where they say nothing, since a change
    takes no time, what was loaded last on the line counts as there, though another line may have fetched it.
    """
    holding = list(present_loaded(line))
    for number, run in enumerate(runs, start=1):
        if run.changeover is not None and run.changeover.cold:
            holding = _asleep(line, holding)
        own_calls = [call for call in calls if call.run == number]
        yield _Setting(problem, line, run, holding, own_calls).settings()
        if any(interruption.cold for interruption in run.interruptions):
            holding = _asleep(line, holding)
        for station_idx, needs in _needs(problem, line, run).items():
            holding[station_idx] = loaded_after(line.stations[station_idx], holding[station_idx], needs)


def _asleep(line: Line, holding: Sequence[Loaded]) -> list[Loaded]:
    return [asleep(station, loaded) for station, loaded in zip(line.stations, holding, strict=True)]


def _needs(problem: Problem, line: Line, run: Run) -> dict[int, tuple[str | None, ...]]:
    job = problem.jobs[run.job_idx]
    return station_needs(problem, line, job, run.placement.stations, run.stock)


@dataclass(frozen=True, slots=True)
class _SetTask:
    """A task and when it is done: at a call, or before."""

    task: Task
    call: int | None


class _Setting:
    """The settings of one run; `holding` is what its line's stations hold before."""

    def __init__(
        self, problem: Problem, line: Line, run: Run, holding: Sequence[Loaded], calls: Sequence[Call]
    ) -> None:
        self._problem = problem
        self._line = line
        self._run = run
        self._holding = holding
        self._tasks = _tasks(run, calls)

    def settings(self) -> RunSettings:
        used = used_stations(self._line, self._run.placement.stations)
        needs = _needs(self._problem, self._line, self._run)
        return RunSettings(
            used=tuple(self._station(station_idx, needs[station_idx]) for station_idx in used),
            idle=tuple(
                _kept(station, self._holding[station_idx])
                for station_idx, station in enumerate(self._line.stations)
                if station_idx not in used and station.does
            ),
        )

    def _station(self, station_idx: int, needs: tuple[str | None, ...]) -> StationSetting:
        station = self._line.stations[station_idx]
        done = self._tasks.get(station.id)
        changes = {} if done is None else {change.aspect: change for change in done.task.changes}
        changeover = self._run.changeover
        return StationSetting(
            station=station.id,
            position_m=m_from_um(station.x_um),
            settings=tuple(
                _setting(aspect, changes.get(aspect.name), before, need)
                for aspect, before, need in zip(
                    station.aspects, self._holding[station_idx], needs, strict=True
                )
                if need is not None and (need or before)
            ),
            minutes=min_from_ms(0 if done is None else done.task.duration_ms),
            register_m=m_from_um(0 if done is None else done.task.register_um),
            call=None if done is None else done.call,
            while_running=done is not None and done.call is None,
            engaged_again=changeover is not None and station.id in changeover.reengaged,
        )


def _tasks(run: Run, calls: Sequence[Call]) -> Mapping[str, _SetTask]:
    """The tasks of a run's changeover by station."""
    if run.changeover is None:
        return {}
    done = {task.station: _SetTask(task, None) for task in run.changeover.hidden}
    numbers = {call.about: call.number for call in calls if isinstance(call.about, Stop)}
    for stop in run.changeover.stops:
        for task in stop.tasks:
            done[task.station] = _SetTask(task, numbers.get(stop))
    return done


def _setting(aspect: Aspect, change: AspectChange | None, held: str, need: str) -> ToolSetting:
    before = held if change is None else change.before
    action, after = _action(aspect, change is not None, before, need)
    return ToolSetting(
        aspect=aspect.name,
        action=action,
        before=loaded_text(aspect.name, before),
        after=loaded_text(aspect.name, after),
    )


def _action(aspect: Aspect, takes_time: bool, before: str, need: str) -> tuple[ToolAction, str]:
    """What is done about an aspect, and what it needs."""
    if aspect.rule is AspectRule.ADDED:
        added = channels_of(need) - channels_of(before)
        return (ToolAction.WAKE, channels_text(added)) if added else (ToolAction.KEEP, need)
    if before == need:
        return ToolAction.KEEP, need
    if before == EMPTY:
        return ToolAction.LOAD, need
    if need == EMPTY:
        return ToolAction.TAKE_OFF, need
    washed = aspect.rule is AspectRule.WASH_UP and takes_time
    return (ToolAction.WASH if washed else ToolAction.CHANGE), need


def _kept(station: Station, loaded: Loaded) -> str:
    items = [
        loaded_text(aspect.name, value)
        for aspect, value in zip(station.aspects, loaded, strict=True)
        if value
    ]
    return f"{station.id} (keeps {', '.join(items)})" if items else station.id
