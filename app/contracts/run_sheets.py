"""Run sheets: what the crew of a line works from in a shift.

Lengths are in m, exact to the µm, times in minutes to a millionth; times of day carry the site's offset.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field

from app.contracts.base import Contract, Number
from app.contracts.crew_calls import Call
from app.contracts.sequences import Closure, Lot, Task


class ToolAction(StrEnum):
    """What is done about one thing that a station holds."""

    KEEP = "keep"
    WASH = "wash up"
    CHANGE = "change"
    LOAD = "load"
    TAKE_OFF = "take off"
    WAKE = "wake"


class ToolSetting(Contract):
    """One aspect of a station, and what is done about it."""

    aspect: str = Field(description="What it is: plate, die, consumable …")
    action: ToolAction = Field(description="Whether it stays, is washed up, changed …")
    before: str = Field(description="What the station holds so far; empty: nothing.")
    after: str = Field(description="What it needs; of channels those that are woken.")


class StationSetting(Contract):
    """A station that a run uses, and how it is set."""

    station: str = Field(description="Its name.")
    position_m: Number = Field(description="Where it sits, from the splice table.")
    settings: tuple[ToolSetting, ...] = Field(description="Aspect by aspect; none: it has none to set.")
    minutes: Number = Field(description="How long it takes one person.")
    register_m: Number = Field(description="Metres until it is in register.")
    call: int | None = Field(description="Number of the call at whose stop it is set; none: at no stop.")
    while_running: bool = Field(description="Whether it is set before, while the run before runs.")
    engaged_again: bool = Field(description="Whether it was thrown off and comes back.")


class SheetVersion(Contract):
    """What a run makes of a version, and where it lies by the counter."""

    version: str = Field(description="Its name.")
    quantity: int = Field(description="Labels ordered.")
    target: int = Field(description="Labels wanted with overs and full reels.")
    labels: int = Field(description="Labels that whole repeats give.")
    reels: int = Field(description="Finished reels.")
    good_m: Number = Field(description="Sellable web.")
    web_m: Number = Field(description="Sellable web and what inspection will reject.")
    from_reading_m: Number = Field(description="What the counter shows when its first metre passes it.")
    to_reading_m: Number = Field(description="What it shows when its last metre has passed.")


class Reels(Contract):
    """What the customer asks of finished reels; none: nobody has said."""

    labels: int | None = Field(description="Labels on a full reel.")
    core_mm: Number | None = Field(description="Bore of the core.")
    largest_mm: Number | None = Field(description="Largest outside diameter.")
    winding: str | None = Field(description="Which side out, which edge first.")
    splices: str = Field(description="Where a splice may lie.")


class NeededItem(Contract):
    """Something that a room of the site has to bring to the line."""

    item: str = Field(description="Which.")
    kind: str = Field(description="What it is: plate, die, roll …")
    station: str = Field(description="Where on the line it goes.")
    job: str = Field(description="For which job.")
    by: datetime = Field(description="When it must be there.")
    call: int | None = Field(description="Number of the call; none: it is set while the run before runs.")
    location: str = Field(default="", description="Where it lies; empty: not known.")


class PreStage(Contract):
    """What to make ready for the next job while this one runs."""

    run: int = Field(description="Number of the next run on the line.")
    job: str = Field(description="Its job.")
    set_now: tuple[Task, ...] = Field(description="Stations to set while the web runs past, thrown off.")
    bring: tuple[NeededItem, ...] = Field(description="What to bring to the line for them and for its stops.")


class SheetRun(Contract):
    """A run on the sheet, with its calls."""

    number: int = Field(description="Its place on the line, from 1.")
    job: str = Field(description="Its job.")
    lot: Lot | None = Field(description="The part of the job that runs; none: all of it.")
    customer: str = Field(description="Who it is for.")
    code: str = Field(description="What its code says to a scanner: site/line/plan start/run/job.")
    substrate: str = Field(description="Its label stock.")
    width_mm: Number = Field(description="Width of the roll.")
    die: str = Field(description="Its die.")
    across: int = Field(description="Labels side by side: lanes, a reel each.")
    speed_m_min: Number = Field(description="Its speed.")
    changeover_start: datetime = Field(description="When its changeover starts.")
    changeover_min: Number = Field(description="What the changeover takes; 0 for a run that had started.")
    changeover_m: Number = Field(description="Web it costs.")
    print_start: datetime = Field(description="When its first sellable metre passes.")
    end: datetime = Field(description="When its last one is at the splice table.")
    press_due: datetime | None = Field(description="When it must end to ship in time.")
    late_min: Number = Field(description="How much later it ends.")
    begun_before: bool = Field(description="Whether an earlier shift has begun it.")
    goes_on: bool = Field(description="Whether a later shift ends it.")
    joined: bool = Field(description="Whether it runs as one with the run before.")
    versions: tuple[SheetVersion, ...] = Field(description="Its versions in order.")
    reels: Reels = Field(description="What the customer asks of the reels.")
    stations: tuple[StationSetting, ...] = Field(description="Its stations in web order, with their tooling.")
    idle: tuple[str, ...] = Field(description="Stations that are thrown off and keep what they hold.")
    calls: tuple[Call, ...] = Field(
        description="Calls from its first up to that of the next run, in the order of the counter. What the "
        "run before still has to be told stands among them."
    )
    pre_stage: PreStage | None = Field(description="For the next job; none: it is the line's last.")

    @property
    def name(self) -> str:
        """Its job, and which lot of it."""
        return f"{self.job}, {self.lot.name}" if self.lot else self.job


class RollPart(Contract):
    """Web of a roll that unwinds without a stop."""

    from_m: Number = Field(description="From this metre of the roll.")
    to_m: Number = Field(description="To this one.")
    job: str = Field(description="The job on whose web, or set-up strip, it begins; empty: before the plan.")
    version: str | None = Field(description="The version; none: the strip.")
    call: int | None = Field(description="Number of the call at which it is spliced on; none: no splice.")


class RollSpan(Contract):
    """Metres of a roll."""

    from_m: Number = Field(description="From this metre.")
    to_m: Number = Field(description="To this one.")


class RollRest(StrEnum):
    """What becomes of a roll behind its last use."""

    NOTHING = "nothing is left"
    CORE = "runs to its end"
    STORE = "back to the store"
    SCRAP = "scrap"


class RollPick(Contract):
    """A roll to fetch."""

    roll: str = Field(description="Its number.")
    substrate: str = Field(description="Its label stock.")
    width_mm: Number = Field(description="Its width.")
    length_m: Number = Field(description="Metres on it when it was new to this plan.")
    location: str = Field(description="Where it lies.")
    on_unwind: bool = Field(description="Whether it is on this line's unwind already.")
    rest_of: str | None = Field(description="The line that has used it before in this plan; none: nobody.")
    needed: datetime = Field(description="When it goes on.")
    job: str = Field(description="For which job first; empty: web threaded before the plan.")
    parts: tuple[RollPart, ...] = Field(description="What of it runs, in order.")
    cut_out: tuple[RollSpan, ...] = Field(description="What is cut out of it: defects, and web around them.")
    splices_left_in_m: tuple[Number, ...] = Field(description="Flagged splices that run through.")
    rest: RollRest = Field(description="What becomes of the rest.")
    rest_m: Number = Field(description="Metres of the rest.")
    slit_from_mm: Number | None = Field(
        default=None, description="How wide it is in the store, if it is to be slit down before it goes on."
    )

    @property
    def where(self) -> str:
        """Where the crew finds it."""
        if self.on_unwind:
            return "on the unwind"
        return f"rest from line {self.rest_of}" if self.rest_of else self.location

    @property
    def stock(self) -> str:
        """Its stock, and what is to be done to it before it goes on."""
        slit = "" if self.slit_from_mm is None else f", slit from {self.slit_from_mm:f} mm first"
        return f"{self.substrate} {self.width_mm:f} mm{slit}"


class StockPick(Contract):
    """Stock that is taken by the metre: not followed by roll, or too little there."""

    substrate: str = Field(description="The label stock.")
    width_mm: Number = Field(description="Its width.")
    length_m: Number = Field(description="Metres until another stock follows.")
    missing_m: Number = Field(description="Metres that the rolls lack; 0: nobody follows it by roll.")
    missing_job: str = Field(description="The first job that lacks them; empty: none.")
    job: str = Field(description="For which job first; empty: web threaded before the plan.")
    needed: datetime = Field(description="When it goes on.")
    call: int | None = Field(description="Number of the call at which it is spliced on; none: no splice.")


class NeededBy(Contract):
    """What every room has to bring, in the order in which it is needed."""

    plate_room: tuple[NeededItem, ...] = Field(description="Plates, print cylinders, anilox rolls.")
    die_store: tuple[NeededItem, ...] = Field(description="Dies, their cylinders, knives.")
    stock_room: tuple[NeededItem, ...] = Field(description="Rolls, inks, varnishes, foils, cores.")


class Shift(Contract):
    """The open time of a line between two long closures."""

    begins: datetime = Field(description="When the line opens, or the plan begins.")
    ends: datetime | None = Field(description="When it closes for long; none: it does not.")
    breaks: tuple[Closure, ...] = Field(description="Short closures inside.")


class RunSheet(Contract):
    """What a line's crew works from in a shift."""

    site: str = Field(description="Where the line stands.")
    zone: str = Field(description="The zone of all times of day.")
    line: str = Field(description="Its name.")
    plan_from: datetime = Field(description="When the plan begins.")
    number: int = Field(description="Which of the line's sheets of this plan, from 1.")
    sheets: int = Field(description="How many there are.")
    shift: Shift = Field(description="When it is worked from.")
    hands: int = Field(description="People for the tasks of a stop.")
    counter_m: Number = Field(description="Where the line's counter sits, from the splice table.")
    deceleration_m_s2: Number | None = Field(
        description="How fast the line slows down; none: not known, and calls have no margin."
    )
    goes_on_from_m: Number | None = Field(
        description="What the counter shows as the shift begins; none: no work is under way then."
    )
    on_unwind: RollPick | None = Field(
        description="The roll that an earlier shift has put on; none: none is known."
    )
    cautions: tuple[str, ...] = Field(description="What comes before everything else.")
    remarks: tuple[str, ...] = Field(description="What is lacking or not known.")
    runs: tuple[SheetRun, ...] = Field(description="In order.")
    rolls: tuple[RollPick, ...] = Field(description="Rolls that go on in this shift, in order.")
    stocks: tuple[StockPick, ...] = Field(description="Stock by the metre, in order.")
    needed_by: NeededBy = Field(description="What the rooms have to bring.")
    before_first: PreStage | None = Field(
        description="What to make ready before the shift's first changeover; none: it begins inside a run."
    )


class LineRunSheets(Contract):
    """The sheets of one line, shift by shift."""

    line: str = Field(description="Its name.")
    sheets: tuple[RunSheet, ...] = Field(description="In order.")
