"""Every run against the run that was worked out for it."""

from __future__ import annotations

from dataclasses import fields
from itertools import pairwise

from solver.sequence import Changeover, Run, Stop, Task, VersionRun
from tests.checker.complaints import differs
from tests.checker.expected import ExpectedChangeover, ExpectedRun
from tests.checker.geometry import union
from tests.checker.lateness import run_late_eur
from tests.checker.lots import Key
from tests.checker.moved import is_moved
from tests.checker.state import Replay


def schedule_complaints(play: Replay, runs: dict[Key, Run]) -> list[str]:
    """All complaints about runs, in the order of starting: the first one is the one to look at."""
    complaints = [f"run {job_id}: can never start, stock or tools do not suffice" for job_id in play.never]
    for key, expected in play.runs.items():
        complaints += run_complaints(play, runs[key], expected)
    return complaints


def run_complaints(play: Replay, run: Run, expected: ExpectedRun) -> list[str]:
    """Everything in which a run is not as it should be."""
    return [
        *quantity_complaints(play, run, expected),
        *time_complaints(run, expected),
        *changeover_complaints(f"run {expected.name}, changeover", run.changeover, expected.changeover),
        *roll_end_complaints(run, expected),
        *interruption_complaints(run, expected),
        *late_complaints(play, run, expected),
    ]


def quantity_complaints(play: Replay, run: Run, expected: ExpectedRun) -> list[str]:
    """Versions, speed, running time, and what ends inside the run."""
    where = f"run {expected.name}"
    complaints = differs(where, "stock", run.stock, expected.stock)
    complaints += differs(where, "number of versions", len(run.versions), len(expected.versions))
    for said, right in zip(run.versions, expected.versions, strict=False):
        complaints += version_complaints(where, said, right)
    complaints += differs(where, "speed in µm/min", run.speed_um_min, expected.speed_um_min)
    complaints += differs(where, "doffs", run.doffs, expected.doffs)
    complaints += differs(where, "foil-reel ends", run.foil_reel_ends, expected.foil_reel_ends)
    complaints += differs(where, "roll ends in µm", [end.at_um for end in run.roll_ends], expected.roll_ends)
    return complaints + differs(where, "running ms", run.run_ms, expected.run_ms)


def version_complaints(where: str, said: VersionRun, right: VersionRun) -> list[str]:
    """Target, labels, web and reels of a version."""
    where = f"{where}, version {right.version}"
    complaints = []
    for field in fields(VersionRun):
        complaints += differs(where, field.name, getattr(said, field.name), getattr(right, field.name))
    return complaints


def time_complaints(run: Run, expected: ExpectedRun) -> list[str]:
    """Start, wait, print start and end; nothing ends beyond what is known of the calendar."""
    where = f"run {expected.name}"
    complaints = differs(where, "changeover start in ms", run.changeover_start_ms, expected.start_ms)
    complaints += differs(where, "wait in ms", run.wait_ms, expected.wait_ms)
    complaints += differs(where, "print start in ms", run.print_start_ms, expected.print_start_ms)
    complaints += differs(where, "end in ms", run.end_ms, expected.end_ms)
    horizon_ms = expected.line.calendar.horizon_ms
    if expected.changeover is not None and horizon_ms is not None and expected.end_ms > horizon_ms:
        complaints.append(f"{where}: ends at {expected.end_ms} ms, beyond the horizon {horizon_ms} ms")
    return complaints


def changeover_complaints(where: str, said: Changeover | None, right: ExpectedChangeover | None) -> list[str]:
    """Mode, stops and their tasks, hidden work, splice, strip, spoil and minutes."""
    if said is None:
        return [] if right is None else [f"{where}: is missing"]
    if right is None:
        return [f"{where}: is one too many"]
    outcome = right.outcome
    complaints = differs(where, "mode", said.mode, right.mode)
    complaints += differs(where, "cold", said.cold, right.cold)
    complaints += differs(where, "joined", said.joined, right.joined)
    complaints += stops_complaints(where, said.stops, outcome.stops)
    complaints += tasks_complaints(f"{where}, hidden", said.hidden, right.hidden)
    complaints += differs(where, "re-engaged", sorted(said.reengaged), sorted(right.reengaged))
    complaints += differs(where, "splice position in µm", said.splice_at_um, outcome.splice_at_um)
    complaints += differs(where, "strip in µm", said.strip_um, outcome.strip_um)
    complaints += spoil_complaints(f"{where}, spoil before", said.spoil_before, outcome.spoil_before)
    complaints += spoil_complaints(f"{where}, spoil after", said.spoil_after, outcome.spoil_after)
    complaints += differs(where, "splice in µm", said.splice_um, outcome.splice_um)
    complaints += differs(where, "start-up in µm", said.start_up_um, outcome.start_up_um)
    complaints += differs(where, "clean-down in ms", said.clean_down_ms, right.clean_down_ms)
    complaints += differs(where, "outgoing waste in µm", said.outgoing_waste_um, outcome.outgoing_um)
    complaints += differs(where, "incoming waste in µm", said.incoming_waste_um, outcome.incoming_um)
    return complaints + differs(where, "duration in ms", said.duration_ms, outcome.duration_ms)


def stops_complaints(where: str, said: tuple[Stop, ...], right: tuple[Stop, ...]) -> list[str]:
    """The stops are those of the winning split, each with its tasks and its time."""
    complaints = differs(where, "stops", _split_text(said), _split_text(right))
    if complaints:
        return complaints
    for place, (stop, right_stop) in enumerate(zip(said, right, strict=True), start=1):
        here = f"{where}, stop {place}"
        complaints += tasks_complaints(here, stop.tasks, right_stop.tasks)
        complaints += differs(here, "duration in ms", stop.duration_ms, right_stop.duration_ms)
    return complaints


def _split_text(stops: tuple[Stop, ...]) -> str:
    groups = [f"{{{', '.join(task.station for task in stop.tasks)}}} at {stop.at_x_um} µm" for stop in stops]
    return " ".join(groups) or "none"


def tasks_complaints(where: str, said: tuple[Task, ...], right: tuple[Task, ...]) -> list[str]:
    """The tasks are there, in whatever order, with their aspects, minutes and register metres."""
    said = tuple(sorted(said, key=lambda task: task.station_idx))
    complaints = differs(where, "tasks", [task.station for task in said], [task.station for task in right])
    if complaints:
        return complaints
    for task, right_task in zip(said, right, strict=True):
        here = f"{where}, task at {right_task.station}"
        complaints += differs(here, "station", task.station_idx, right_task.station_idx)
        complaints += differs(here, "position in µm", task.x_um, right_task.x_um)
        free = _worded_freely(right_task)
        complaints += differs(here, "changes", _changes(task, free), _changes(right_task, free))
        complaints += differs(here, "duration in ms", task.duration_ms, right_task.duration_ms)
        complaints += differs(here, "register in µm", task.register_um, right_task.register_um)
    return complaints


def _changes(task: Task, worded_freely: set[str]) -> list[tuple[object, ...]]:
    return sorted(
        (change.aspect, str(change.duration_ms), change.register_um)
        + (() if change.aspect in worded_freely else (change.before, change.after))
        for change in task.changes
    )


def _worded_freely(right: Task) -> set[str]:
    """Aspects whose before and after may be put in any words: channels, and the rolls of a roll end."""
    same = {change.aspect for change in right.changes if change.before == change.after}
    return same | {"channels"}


def spoil_complaints(
    where: str, said: tuple[tuple[int, int], ...], right: tuple[tuple[int, int], ...]
) -> list[str]:
    """Spoiled intervals are sorted and disjoint, and cover what stops spoil."""
    complaints = differs(where, "intervals in µm", union(list(said)), right)
    for (_, end), (start, _) in pairwise(said):
        if start < end:
            complaints.append(f"{where}: intervals {said} are not sorted and disjoint")
    return complaints


def roll_end_complaints(run: Run, expected: ExpectedRun) -> list[str]:
    """What each roll end inside the run costs."""
    where = f"run {expected.name}, roll end"
    complaints = differs(where, "all roll ends' ms", run.roll_end_ms, expected.roll_end_ms)
    wasted_um = expected.roll_end_waste_um
    complaints += differs(where, "all roll ends' waste in µm", run.roll_end_waste_um, wasted_um)
    for end in run.roll_ends:
        right = expected.roll_end if end.at_um > 0 else expected.strip_end
        complaints += changeover_complaints(where, end.changeover, right)
    return complaints


def interruption_complaints(run: Run, expected: ExpectedRun) -> list[str]:
    """Closures that changeover or run went through."""
    return differs(f"run {expected.name}", "interruptions", run.interruptions, expected.interruptions)


def late_complaints(play: Replay, run: Run, expected: ExpectedRun) -> list[str]:
    """Press due, lateness and its cost, and whether it is moved."""
    where = f"run {expected.name}"
    complaints = differs(where, "press due in ms", run.press_due_ms, expected.press_due_ms)
    complaints += differs(where, "lateness in ms", run.lateness_ms, expected.lateness_ms)
    complaints += differs(where, "late cost in €", run.late_eur, run_late_eur(play, expected))
    return complaints + differs(where, "moved", run.moved, is_moved(play, expected))
