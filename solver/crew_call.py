"""What the crew of a line is told at one place of its web: when, where, what to do, and what is at stake.

These are results, filled by `calls`; nothing here computes. Lengths are µm, times ms from the plan's start.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from solver.sequence import Interruption, Piece, Stop, Task
from solver.set_up_strip import LateStop, SetUpStrip


class CallKind(StrEnum):
    """What a call is for. Those that fall on the same web at the same time are told in this order."""

    ROLL_END = "roll end"
    DOFF = "doff"
    FOIL_REEL = "foil reel"
    JOB_CHANGE = "job change"
    """A changeover without any stop: another job begins on web that runs on."""
    STOP = "changeover stop"
    CLOSURE = "closure"
    CLEAN_DOWN = "clean-down"
    """Cleaning behind the line's last run."""


@dataclass(frozen=True, slots=True)
class UnderStation:
    """What lies under a station: the piece of the ledger that is about to pass it.

    None for web that is not of the plan: what was threaded before it, or what follows its last metre.
    """

    station: str
    x_um: int
    piece: Piece | None


@dataclass(frozen=True, slots=True)
class HandTask:
    """A task and whose it is: hands count from 1; times in ms from when the web stands."""

    hand: int
    from_ms: Fraction
    to_ms: Fraction
    task: Task


@dataclass(frozen=True, slots=True)
class Staged:
    """Something to have at hand before a stop: what goes into a station."""

    station: str
    aspect: str
    item: str


@dataclass(frozen=True, slots=True)
class MadeReady:
    """What can be done before: whole tasks while the run before runs, and what to bring for the others."""

    hidden: tuple[Task, ...] = ()
    staged: tuple[Staged, ...] = ()


@dataclass(frozen=True, slots=True)
class Countdown:
    """Where on the counter the crew begins to stop the line.

    Parameters
    ----------
    run, job, version
        The version that is read off: the one at the counter, or the last that has passed it, if it begins
        before the web that is awaited. None where the plan has none so far.
    to_pass_um
        What then is still to pass the counter of this version, or has passed since its last metre
        (since the plan's first one, where no version has), all with the call margin.
    passed
        Whether the version has passed.
    """

    run: int
    job: str
    version: str | None
    to_pass_um: int
    passed: bool


@dataclass(frozen=True, slots=True)
class Doff:
    """Finished customer reels leave the rewinder, one of every lane: the `number`th of `of` times for the
    version.
    """

    version: str
    number: int
    of: int
    reels: int


@dataclass(frozen=True, slots=True)
class FoilReelEnd:
    """A reel of foil or laminate has ended at a station."""

    station: str
    consumable: str


@dataclass(frozen=True, slots=True)
class Call:
    """One call of the crew.

    Parameters
    ----------
    number
        From 1 on the line, in the order of the counter.
    run, job
        The number of the run on the line, from 1, and its job: the incoming one of a changeover.
    about
        The stop, doff, foil reel or closure that is called; None for a job change without a stop and for a
        clean-down.
    mark_um, at_x_um
        The web that is awaited, in the ledger's coordinate, and where on the web path it then is: of a
        changeover the outgoing run's last sellable metre, of a roll end the splice, of a doff the last label.
        A closure comes by the clock: its web is only expected to be there.
    reading_um
        What the counter shows: web that has passed it since the plan's first metre on the line did, without
        what is cut away in splices. Below 0 while web from before the plan is still passing.
    ledger_um
        The ledger's coordinate of the web at the counter.
    expected_ms
        When, by the sequence; of a closure when it begins.
    duration_ms
        How long the line stands; of a closure what its end costs, not the closure itself.
    further_ms
        What the changeover takes besides its stops and passing web (job change, clean-down, start-up, and
        what its rounding to the ms adds or takes), told with its first call.
    speed_um_min, margin_um
        How fast the web comes, and what passes from the word to standstill: speed² / (2 × deceleration),
        up to the next µm; 0 where the line's deceleration is not known.
    countdown
        Where the crew begins to stop.
    under
        What lies under every station, in web order.
    work
        Tasks with hands, in the order of hands and time.
    ready
        What can be made ready before; hidden tasks are told with the changeover's first call.
    strip
        Of a changeover or a roll end: its waste, and where which station is set.
    late
        Of a changeover's stop or a roll end: what being late or early costs.
    """

    line: str
    number: int
    kind: CallKind
    run: int
    job: str
    about: Stop | Doff | FoilReelEnd | Interruption | None
    mark_um: int
    at_x_um: int
    reading_um: int
    ledger_um: int
    expected_ms: int
    duration_ms: Fraction
    further_ms: Fraction
    speed_um_min: int
    margin_um: int
    countdown: Countdown
    under: tuple[UnderStation, ...]
    work: tuple[HandTask, ...]
    ready: MadeReady
    strip: SetUpStrip | None
    late: LateStop | None
