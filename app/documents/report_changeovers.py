"""A changeover told step by step: what is done where, why, for how long, on which metres."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from app.contracts.sequences import Change, Changeover, LineRuns, Run, Task
from app.documents.figures import tenths
from app.drawings.labels import day_and_clock

JOINED = "Made like the run before: the web runs on, and not even the job is set."
JOB_ONLY = "Nothing changes at any station: only the job is set."


@dataclass(frozen=True, slots=True)
class Step:
    """A line of the crew's list."""

    when: str
    station: str
    what: tuple[str, ...]
    minutes: Decimal | None
    """For one person; none where nobody works."""
    register_m: Decimal | None


@dataclass(frozen=True, slots=True)
class StopSteps:
    """What is done together: in one stop, while the run before runs, or as the web starts again."""

    heading: str
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class ToldChangeover:
    """A changeover with its metres and minutes in words, and its steps."""

    number: int
    run: Run
    summary: str
    groups: tuple[StopSteps, ...]


def told_changeovers(line: LineRuns) -> tuple[ToldChangeover, ...]:
    """Every changeover of a line in order, with the roll ends and closures of its run."""
    runs_before = (None, *line.runs)[: len(line.runs)]
    return tuple(
        ToldChangeover(number, run, _summary(run), tuple(_groups(number, run, before)))
        for number, (run, before) in enumerate(zip(line.runs, runs_before, strict=True), start=1)
    )


def _summary(run: Run) -> str:
    changeover = run.changeover
    if changeover is None:
        return "Started before the plan; no changeover."
    if changeover.joined:
        return "Runs as one with the run before: 0.0 min. Waste 0.0 m."
    stops = len(changeover.stops)
    way = "line run out" if changeover.mode == "run-out" else "web held"
    parts = [f"{stops} {'stop' if stops == 1 else 'stops'}, {way}", f"{tenths(changeover.minutes)} min"]
    if changeover.clean_down_min:
        parts.append(f"of it {tenths(changeover.clean_down_min)} min cleaning for low-migration work")
    if changeover.cold:
        parts.append("cold start")
    if changeover.splice_at_m is not None:
        parts.append(f"splice {tenths(changeover.splice_at_m)} m behind the last sellable metre")
    return f"{'; '.join(parts)}. {_metres(changeover)}"


def _metres(changeover: Changeover) -> str:
    parts = [
        f"{tenths(length_m)} m {name}"
        for length_m, name in (
            (changeover.blank_m, "outgoing stock left blank"),
            (changeover.strip_m - changeover.blank_m, "set-up strip"),
            (changeover.spoil_outgoing_m, "print of the job before spoiled"),
            (changeover.spoil_incoming_m, "print of this job spoiled"),
            (changeover.splice_m, "splice"),
            (changeover.start_up_m, "start-up"),
        )
        if length_m
    ]
    told = f": {', '.join(parts)}" if parts else ""
    return f"Waste {tenths(changeover.waste_m)} m{told}."


def _groups(number: int, run: Run, before: Run | None) -> Iterator[StopSteps]:
    if run.changeover is not None:
        yield from _changeover_groups(number, run.changeover, before)
    if run.roll_ends and run.roll_end is not None:
        yield _roll_ends(run.roll_ends, run.roll_end)
    for interruption in run.interruptions:
        part = "run" if interruption.during_run else "changeover"
        cold = ", cold start" if interruption.cold else ""
        yield StopSteps(
            f"Closure in the {part} from {day_and_clock(interruption.closed_from)} to "
            f"{day_and_clock(interruption.closed_to)}{cold}: {tenths(interruption.waste_m)} m, "
            f"{tenths(interruption.minutes)} min",
            (),
        )


def _changeover_groups(number: int, changeover: Changeover, before: Run | None) -> Iterator[StopSteps]:
    if changeover.hidden:
        steps = tuple(_step("while running", task) for task in changeover.hidden)
        whose = f"{before.name} runs" if before else "the line runs"
        yield StopSteps(f"While {whose}, at stations it does not use: takes no time of the line", steps)
    whose = f"the last sellable metre of {before.name}" if before else "the last metre on the line"
    for stop_number, stop in enumerate(changeover.stops, start=1):
        name = f"{number}.{stop_number}"
        steps = tuple(_step(f"stop {name}", task) for task in stop.tasks)
        yield StopSteps(
            f"Stop {name} when {whose} is {stop.at_m:f} m past the splice table: {tenths(stop.minutes)} min",
            steps,
        )
    kept = tuple(_kept_stations(changeover))
    if kept:
        steps = tuple(
            Step("at the start", station, ("engaged again, tooling kept",), None, None) for station in kept
        )
        yield StopSteps("Back from being thrown off: no stop, only metres to register", steps)
    if not changeover.stops and not changeover.hidden and not kept:
        yield StopSteps(JOINED if changeover.joined else JOB_ONLY, ())


def _kept_stations(changeover: Changeover) -> Iterator[str]:
    """Stations that come back with what was loaded on them."""
    changed = {task.station for stop in changeover.stops for task in stop.tasks}
    changed |= {task.station for task in changeover.hidden}
    return (station for station in changeover.reengaged if station not in changed)


def _roll_ends(count: int, roll_end: Changeover) -> StopSteps:
    ends = "roll end" if count == 1 else "roll ends"
    steps = tuple(_step("roll end", task) for stop in roll_end.stops for task in stop.tasks)
    return StopSteps(
        f"{count} {ends} inside the run: {tenths(roll_end.waste_m)} m, {tenths(roll_end.minutes)} min each",
        steps,
    )


def _step(when: str, task: Task) -> Step:
    changes = tuple(_change(change) for change in task.changes)
    return Step(when, task.station, changes, task.minutes, task.register_m)


def _change(change: Change) -> str:
    aspect = change.aspect.replace("_", " ")
    return f"{aspect}: {change.before or 'none'} → {change.after or 'none'}"
