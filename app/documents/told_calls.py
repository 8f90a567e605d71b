"""A call as the crew's sheet tells it, in short words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from app.contracts.crew_calls import Call, CallKind, SetUpStrip, UnderStation
from app.contracts.sequences import Change, Task
from app.documents.figures import tenths

_DEEDS = {
    CallKind.ROLL_END: "Next roll",
    CallKind.DOFF: "Reels off",
    CallKind.FOIL_REEL: "Foil reel",
    CallKind.JOB_CHANGE: "Next job",
    CallKind.STOP: "Stop",
    CallKind.CLOSURE: "Closure",
    CallKind.CLEAN_DOWN: "Clean-down",
}

CHANNELS = "channels"
NEXT_ROLL = "splice the next roll on"


@dataclass(frozen=True, slots=True)
class ToldTask:
    """A line of a stop's work."""

    hand: int
    minutes: str
    station: str
    what: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ToldCall:
    """A call with what is told of it beside its figures."""

    call: Call
    deed: str
    tasks: tuple[ToldTask, ...]
    roll: str
    strip: str
    under: str
    set_before: tuple[str, ...]

    @property
    def is_roll_end(self) -> bool:
        """Whether a roll ends, so that there is no strip of a changeover."""
        return self.call.kind is CallKind.ROLL_END


@dataclass(frozen=True, slots=True)
class CallGroup:
    """Calls that are told together: one with work to do, or reels that leave one after another."""

    doffs: bool
    calls: tuple[ToldCall, ...]


def call_groups(calls: Sequence[Call]) -> Iterator[CallGroup]:
    """A run's calls in order; doffs for which nobody stops, and that follow each other, as one group.

    A changeover's strip is told with the first of its calls.
    """
    told_before: set[int] = set()
    for doffs, same in groupby(calls, key=_is_doff_while_running):
        if doffs:
            yield CallGroup(True, tuple(told_call(call) for call in same))
            continue
        for call in same:
            told = told_call(call)
            if call.kind is CallKind.STOP:
                if call.run in told_before:
                    told = replace(told, strip="")
                told_before.add(call.run)
            yield CallGroup(False, (told,))


def told_call(call: Call) -> ToldCall:
    """A call in words."""
    return ToldCall(
        call=call,
        deed=_deed(call),
        tasks=tuple(
            ToldTask(
                work.hand,
                f"{tenths(work.from_min)}–{tenths(work.to_min)}",
                work.task.station,
                (NEXT_ROLL,) if call.kind is CallKind.ROLL_END else changes_of(work.task),
            )
            for work in call.tasks
        ),
        roll=_roll(call),
        strip="" if call.strip is None else _strip(call.strip),
        under=_under(call.under),
        set_before=tuple(task.station for task in call.made_ready),
    )


def changes_of(task: Task) -> tuple[str, ...]:
    """What changes at a station, aspect by aspect."""
    return tuple(_change(change) for change in task.changes)


def _is_doff_while_running(call: Call) -> bool:
    return call.kind is CallKind.DOFF and not call.stands


def _deed(call: Call) -> str:
    spliced = call.strip is not None and call.strip.splice_at_m == call.at_m
    return "Stop and splice" if call.kind is CallKind.STOP and spliced else _DEEDS[call.kind]


def _change(change: Change) -> str:
    aspect = change.aspect.replace("_", " ")
    if change.aspect == CHANNELS:
        woken = sorted({*change.after.split("+")} - {*change.before.split("+")})
        return f"wake {'+'.join(woken)}"
    if not change.after:
        return f"{aspect} {change.before} comes off"
    if not change.before:
        return f"{aspect} {change.after}"
    return f"{aspect} {change.before} → {change.after}"


def _roll(call: Call) -> str:
    roll = call.next_roll
    if roll is None:
        return ""
    where = f", {roll.location}" if roll.location else ""
    begun = f", from its {tenths(roll.from_m)} m on" if roll.from_m else ""
    return f"{roll.roll}{where}{begun}"


def _strip(strip: SetUpStrip) -> str:
    parts = [f"{tenths(strip.length_m)} m"] if strip.length_m else []
    if strip.splice_at_m is not None:
        parts.append(f"splice at {tenths(strip.splice_at_m)} m, {tenths(strip.splice_m)} m cut away")
    parts += [
        f"{tenths(length_m)} m {what}"
        for length_m, what in (
            (strip.start_up_m, "start-up"),
            (strip.spoil_outgoing_m, "print of the job before spoiled"),
            (strip.spoil_incoming_m, "print of this job spoiled"),
        )
        if length_m
    ]
    told = f"{'; '.join(parts) or 'none'}."
    if not strip.length_m:
        return told
    at = [
        f"{there.station} {tenths(there.from_m)}"
        + (f"–{tenths(there.to_m)}" if there.to_m != there.from_m else "")
        for there in strip.set_on
    ]
    return f"{told} In register on: {'; '.join(at)}." if at else told


def _under(stations: Sequence[UnderStation]) -> str:
    """Neighbours under which the same web lies are told together."""
    parts: list[str] = []
    for web, same in groupby(stations, key=_web):
        names = [there.station for there in same]
        between = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"
        parts.append(f"{between}: {web}")
    return "; ".join(parts)


def _web(there: UnderStation) -> str:
    if not there.kind:
        return "web from outside the plan"
    if there.version is not None:
        return f"{there.job} {there.version}"
    return f"{there.kind} of {there.job}" if there.job else there.kind
