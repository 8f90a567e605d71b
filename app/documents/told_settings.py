"""How a run's stations are set, as the sheet's tooling list tells it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.contracts.run_sheets import SheetRun, StationSetting, ToolAction, ToolSetting
from app.documents.figures import tenths


@dataclass(frozen=True, slots=True)
class ToldSetting:
    """One thing that a station holds: what is done, to what."""

    action: str
    what: str


@dataclass(frozen=True, slots=True)
class ToldStation:
    """A station on which something is done."""

    station: str
    when: str
    settings: tuple[ToldSetting, ...]
    minutes: str
    register_m: str


@dataclass(frozen=True, slots=True)
class ToldTooling:
    """The tooling list of a run."""

    stations: tuple[ToldStation, ...]
    kept: str
    idle: str


def told_tooling(run: SheetRun) -> ToldTooling:
    """What is done station by station, and what stays."""
    changed = [station for station in run.stations if _is_changed(station)]
    kept = [station for station in run.stations if not _is_changed(station) and station.settings]
    return ToldTooling(
        stations=tuple(_station(station) for station in changed),
        kept="; ".join(f"{station.station} ({_items(station.settings)})" for station in kept),
        idle="; ".join(run.idle),
    )


def _is_changed(station: StationSetting) -> bool:
    changed = any(setting.action is not ToolAction.KEEP for setting in station.settings)
    return changed or station.engaged_again


def _station(station: StationSetting) -> ToldStation:
    return ToldStation(
        station=station.station,
        when=_when(station),
        settings=tuple(_setting(setting) for setting in station.settings),
        minutes=tenths(station.minutes) if station.minutes else "",
        register_m=tenths(station.register_m) if station.register_m else "",
    )


def _when(station: StationSetting) -> str:
    if station.call is not None:
        return f"call {station.call}"
    if station.while_running:
        return "while running"
    return "engaged again" if station.engaged_again else "takes no time"


def _setting(setting: ToolSetting) -> ToldSetting:
    aspect = setting.aspect.replace("_", " ")
    if setting.action is ToolAction.TAKE_OFF:
        return ToldSetting("take off", f"{aspect} {setting.before}")
    if setting.action in (ToolAction.CHANGE, ToolAction.WASH):
        return ToldSetting(setting.action.value, f"{aspect} {setting.before} → {setting.after}")
    return ToldSetting(setting.action.value, f"{aspect} {setting.after}")


def _items(settings: Sequence[ToolSetting]) -> str:
    return ", ".join(setting.after for setting in settings if setting.aspect != "width")
