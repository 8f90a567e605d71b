"""What a crew is reminded of before it works from a sheet.

Own words for what is usual, no source; they take nothing from the maker's manual or the site's rules, and
say that these come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from app.contracts.run_sheets import SheetRun, ToolAction

ALWAYS = (
    "Stop the line and lock it out before you reach in. This sheet says when the web is to stop; it does not "
    "make a press safe.",
    "Webs and rollers pull in at every nip; dies, blades and knives cut; UV lamps and dryers burn skin and "
    "eyes; inks and solvents harm skin, eyes and lungs and can catch fire.",
    "The maker's manual, site rules, local codes and trained staff come first, whatever a sheet says. If "
    "something is not as told here, stop and ask.",
)
"""On every sheet."""

WASH_UP = "There are wash-ups with solvent in this shift: air the room, keep sparks away, bin the rags."
BLADES = "There are dies or knives to be handled in this shift: they cut at a touch, when they lie still too."
LAMPS = (
    "Inks and varnishes are changed at stations that may cure with UV light or heat: lamps off and cooled "
    "before a cover is opened."
)
RUNNING = (
    "Some stations are to be set while the web runs: only behind their guards, thrown off, and only where "
    "maker and site allow it."
)


def cautions_of(runs: Iterable[SheetRun]) -> tuple[str, ...]:
    """The cautions of a shift: those of every sheet, and what its tasks add."""
    return (*ALWAYS, *_by_tasks(list(runs)))


def _by_tasks(runs: list[SheetRun]) -> Iterator[str]:
    stations = [station for run in runs for station in run.stations]
    done = [
        (setting.aspect, setting.action)
        for station in stations
        for setting in station.settings
        if setting.action is not ToolAction.KEEP
    ]
    aspects = {aspect for aspect, _ in done}
    if any(action is ToolAction.WASH for _, action in done):
        yield WASH_UP
    if aspects & {"die", "slit_layout"}:
        yield BLADES
    if "consumable" in aspects:
        yield LAMPS
    set_next = [task for run in runs if run.pre_stage for task in run.pre_stage.set_now]
    if set_next or any(station.while_running for station in stations):
        yield RUNNING
