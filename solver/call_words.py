"""A call in words: when to stop, and what to do when it was missed.

Own words for common practice, no source.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from solver.crew_call import Call, CallKind, Countdown, FoilReelEnd
from solver.sequence import Stop
from solver.set_up_strip import LateStop

_TENTH = Decimal("0.1")
_NOTHING = "0.0 m"


def stop_sentence(call: Call) -> str:
    """At which reading to stop, read off the version at the counter, the call margin in it.

    A closure comes by the clock: of it the expected reading is told.
    """
    if call.kind is CallKind.CLOSURE:
        return f"The line closes: the counter is then at about {metres(call.reading_um)}."
    return f"{_deed(call)} {_when(call.countdown)}."


def late_sentence(call: Call) -> str | None:
    """What to do when the line was stopped too late or too early; None where nothing is at stake."""
    late = call.late
    if late is None:
        return None
    words = ["Too late: the stop is not repeated, its tasks are done where the web stands."]
    if call.kind is CallKind.ROLL_END:
        words.append("Where the roll's end has left the splice table it is caught and spliced where it lies.")
    words.append(_lost(late, one_stock=call.kind is CallKind.ROLL_END))
    if late.next_due_um is not None:
        words.append(f"From {metres(late.next_due_um)} late on the next stop's tasks are done here as well.")
    again = f"a further stop takes {_minutes(late.again_ms)}"
    if late.again_um:
        again += f" and spoils {metres(late.again_um)} of print"
    words.append(f"Too early: run on to the reading; {again}.")
    return " ".join(words)


def metres(length_um: int) -> str:
    """A length as the crew reads it off, to a tenth of a metre."""
    return f"{(Decimal(length_um) / 10**6).quantize(_TENTH, ROUND_HALF_UP):,f} m"


def _minutes(duration_ms: int) -> str:
    return f"{(Decimal(duration_ms) / 60_000).quantize(_TENTH, ROUND_HALF_UP):f} min"


def _deed(call: Call) -> str:
    match call.kind:
        case CallKind.ROLL_END:
            return "Splice the next roll"
        case CallKind.DOFF:
            return "Take the reels off"
        case CallKind.FOIL_REEL if isinstance(call.about, FoilReelEnd):
            return f"Stop for the foil reel at {call.about.station}"
        case CallKind.JOB_CHANGE:
            return f"{call.job} begins"
        case CallKind.CLEAN_DOWN:
            return "Stop for the clean-down"
    spliced = call.strip is not None and call.strip.splice_at_um == call.at_x_um
    return "Stop and splice" if spliced and isinstance(call.about, Stop) else "Stop"


def _when(countdown: Countdown) -> str:
    length = metres(abs(countdown.to_pass_um))
    if length == _NOTHING:
        if countdown.version is None:
            return "as the plan's first metre passes the counter"
        return f"as the last metre of version {countdown.version} of {countdown.job} passes the counter"
    if countdown.version is None:
        where = "before" if countdown.to_pass_um < 0 else "after"
        return f"{length} {where} the plan's first metre passes the counter"
    version = f"version {countdown.version} of {countdown.job}"
    if countdown.passed:
        return f"{length} after the last metre of {version} has passed the counter"
    return f"when {length} of {version} remain"


def _lost(late: LateStop, one_stock: bool) -> str:
    if one_stock:
        return (
            f"The first metre late loses a further {metres(late.outgoing_um_per_m + late.incoming_um_per_m)}."
        )
    lost = [
        f"{metres(length_um)} of the {whose} stock"
        for length_um, whose in ((late.outgoing_um_per_m, "outgoing"), (late.incoming_um_per_m, "incoming"))
        if length_um > 0
    ]
    if not lost:
        return "The first metre late loses no web."
    spared_um = -min(late.outgoing_um_per_m, late.incoming_um_per_m, 0)
    spared = f", and {metres(spared_um)} less of the other" if spared_um else ""
    return f"The first metre late loses a further {' and '.join(lost)}{spared}."
