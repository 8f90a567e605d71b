"""The crew's calls: at which reading of a line's counter something is done, and what.

Lengths are in m, exact to the µm, times in minutes to a millionth; times of day carry the site's offset.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field

from app.contracts.base import Contract, Number
from app.contracts.sequences import Closure, Task


class CallKind(StrEnum):
    """What a call is for."""

    ROLL_END = "roll end"
    DOFF = "doff"
    FOIL_REEL = "foil reel"
    JOB_CHANGE = "job change"
    STOP = "changeover stop"
    CLOSURE = "closure"
    CLEAN_DOWN = "clean-down"


class UnderStation(Contract):
    """The web that is about to pass a station."""

    station: str = Field(description="Its name.")
    position_m: Number = Field(description="Where it sits, from the splice table.")
    kind: str = Field(description="What the web is, as the web ledger has it; empty: web not of this plan.")
    job: str = Field(description="Whose it is; empty: of no job of this plan.")
    version: str | None = Field(description="Which version; none: waste.")


class HandTask(Contract):
    """A task of a stop and whose it is."""

    hand: int = Field(description="Which of the hands at hand does it, from 1.")
    from_min: Number = Field(description="When it begins, from standstill.")
    to_min: Number = Field(description="When it is done.")
    task: Task = Field(description="What is done.")


class Brought(Contract):
    """Something to have at hand before a stop."""

    station: str = Field(description="Where it goes.")
    aspect: str = Field(description="What it is: plate, die, consumable …")
    item: str = Field(description="Which.")


class SetOn(Contract):
    """A station and the web on which it comes into register, from the last sellable metre on."""

    station: str = Field(description="Its name.")
    from_m: Number = Field(description="Where it is set.")
    to_m: Number = Field(description="Where it is in register; the same: it only has to be on from there.")


class SetUpStrip(Contract):
    """Waste between two runs, or at a roll end, in m behind the last sellable metre."""

    length_m: Number = Field(description="Up to the first sellable metre, without splice and start-up.")
    splice_at_m: Number | None = Field(description="Where the splice lies; none: nothing is spliced.")
    splice_m: Number = Field(description="Web cut away in the splice.")
    start_up_m: Number = Field(description="Web of a cold start.")
    spoil_outgoing_m: Number = Field(description="Print of the run before that stops spoil.")
    spoil_incoming_m: Number = Field(description="Print of this run that stops spoil, beyond the strip.")
    set_on: tuple[SetOn, ...] = Field(description="Where which station is set, in web order.")


class Doff(Contract):
    """Finished reels that leave the rewinder."""

    version: str = Field(description="Of which version.")
    number: int = Field(description="Which time it is for the version, from 1.")
    of: int = Field(description="How many times there are.")
    reels: int = Field(description="Reels that leave.")


class FoilReelEnd(Contract):
    """A reel of foil or laminate that has ended."""

    station: str = Field(description="Where.")
    consumable: str = Field(description="Of what.")


class NextRoll(Contract):
    """The roll that goes on."""

    roll: str = Field(description="Its number.")
    location: str = Field(description="Where it lies.")
    from_m: Number = Field(description="The metre of it with which it begins; 0: its first.")


class Call(Contract):
    """What a crew is told at one place of the web."""

    number: int = Field(description="Counted on the line, in the order of its counter.")
    kind: CallKind = Field(description="What it is for.")
    run: int = Field(description="Number of the run on the line, from 1; of a changeover the incoming one.")
    job: str = Field(description="The run's job.")
    sentence: str = Field(description="When, read off the version at the counter, call margin included.")
    late: str | None = Field(description="What to do when stopped too late or too early.")
    reading_m: Number = Field(
        description="What the counter shows when the web stands, or when it is done with the web running."
    )
    begin_m: Number = Field(description="What it shows when the crew begins to stop: the margin before.")
    margin_m: Number = Field(description="Call margin: passes from the word to standstill; 0: not stopped.")
    awaited_m: Number = Field(description="The web awaited, in the ledger's metres with all splices in it.")
    at_m: Number = Field(description="Where on the web path it then is, from the splice table.")
    speed_m_min: Number = Field(description="How fast the web comes.")
    expected: datetime = Field(description="When, by the plan.")
    minutes: Number = Field(description="How long the line stands; of a closure what its end costs.")
    further_min: Number = Field(
        description="What the changeover takes besides stops and passing web, with its first call."
    )
    under: tuple[UnderStation, ...] = Field(description="What lies under every station, in web order.")
    tasks: tuple[HandTask, ...] = Field(description="What is done in the stop, by hands and time.")
    made_ready: tuple[Task, ...] = Field(
        description="Whole tasks to do before, while the run before runs, told with its first call."
    )
    brought: tuple[Brought, ...] = Field(description="What to have at hand for the tasks of the stop.")
    next_roll: NextRoll | None = Field(
        description="The roll to splice on; none: no splice, or not followed by roll."
    )
    strip: SetUpStrip | None = Field(description="Of a changeover or a roll end: its waste.")
    doff: Doff | None = Field(default=None, description="Of a doff: which reels.")
    foil_reel: FoilReelEnd | None = Field(default=None, description="Of a foil reel: which.")
    closure: Closure | None = Field(default=None, description="Of a closure: how long.")

    @property
    def stands(self) -> bool:
        """Whether the line is brought to a stand for it."""
        return self.minutes > 0 and self.kind is not CallKind.CLOSURE
