"""Costed sequences: what a plan or a costing gives back.

Lengths in m are exact to the µm, times and money are rounded to 10⁻⁶; a total is the sum of the parts
shown here, so everything adds up. Times of day carry the site's offset.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from enum import StrEnum

from pydantic import Field

from app.contracts.base import Contract, Number
from app.contracts.orders import LabelRange
from app.contracts.roll_use import MissingStock, UsedRoll


class Goal(StrEnum):
    """What an order is to be best at."""

    BALANCED = "balanced"
    LEAST_WASTE = "least-waste"
    LEAST_CHANGEOVER_TIME = "least-changeover-time"
    ON_TIME_FIRST = "on-time-first"


class Change(Contract):
    """One aspect that changes at a station."""

    aspect: str = Field(description="What changes: plate, die, consumable …")
    before: str = Field(description="What comes out; empty: nothing was there.")
    after: str = Field(description="What goes in; empty: nothing.")
    minutes: Number = Field(description="How long it takes one person.")
    register_m: Number = Field(description="Metres until it is in register.")


class Task(Contract):
    """One station to be changed."""

    station: str = Field(description="Its name.")
    position_m: Number = Field(description="Where it sits, from the splice table.")
    minutes: Number = Field(description="How long it takes one person.")
    register_m: Number = Field(description="Metres until the station is in register.")
    changes: tuple[Change, ...] = Field(description="What changes there.")


class Stop(Contract):
    """One controlled stop of the web."""

    at_m: Number = Field(
        description="Made when the outgoing run's last sellable metre is this far from the splice table."
    )
    minutes: Number = Field(description="The stop and its tasks on the hands at hand.")
    tasks: tuple[Task, ...] = Field(description="What is done in it.")


class Changeover(Contract):
    """Everything between two runs, or at a roll end inside one."""

    mode: str = Field(description="held, or run-out: the line is emptied of the job before.")
    joined: bool = Field(
        default=False, description="Whether the run runs as one with the run before: nothing is done."
    )
    cold: bool = Field(description="Whether the line had to be started up.")
    stops: tuple[Stop, ...] = Field(description="In the order in which they are made.")
    hidden: tuple[Task, ...] = Field(description="Tasks done while the run before runs.")
    reengaged: tuple[str, ...] = Field(description="Stations that were thrown off and come back.")
    splice_at_m: Number | None = Field(
        description="Metres of outgoing stock before the splice; none: no splice."
    )
    strip_m: Number = Field(description="Set-up strip: from the last sellable metre to the first.")
    blank_m: Number = Field(description="Part of the strip that is outgoing stock left blank.")
    spoil_outgoing_m: Number = Field(description="Print of the job before that stops spoil.")
    spoil_incoming_m: Number = Field(description="Print of this job that stops spoil, beyond the strip.")
    splice_m: Number = Field(description="Web lost in the splice.")
    start_up_m: Number = Field(description="Web of a cold start.")
    waste_m: Number = Field(description="Strip, spoil, splice and start-up together.")
    clean_down_min: Number = Field(description="Cleaning for low-migration work.")
    minutes: Number = Field(description="All of it.")


class Lot(LabelRange):
    """A part of a split job."""

    number: int = Field(description="Which of the job's lots, in the order of their labels.")
    lots: int = Field(description="How many the job is split into.")

    @property
    def name(self) -> str:
        return f"lot {self.number} of {self.lots}"


class VersionRun(Contract):
    """What a run makes of one version."""

    version: str = Field(description="Its name.")
    quantity: int = Field(description="Labels ordered.")
    target: int = Field(description="Labels wanted with overs and full reels.")
    labels: int = Field(description="Labels that whole repeats give.")
    reels: int = Field(description="Finished reels: one a lane at every doff, the last ones short.")
    good_m: Number = Field(description="Sellable web.")
    web_m: Number = Field(description="Sellable web and what inspection will reject.")
    held_to_maximum: bool = Field(
        description="Whether the most that may be sent won over overs or full reels."
    )


class Interruption(Contract):
    """A closure that a changeover or a run goes through."""

    closed_from: datetime = Field(description="When the closure begins.")
    closed_to: datetime = Field(description="When it ends.")
    minutes: Number = Field(description="What it costs when it ends.")
    waste_m: Number = Field(description="Web it costs.")
    during_run: bool = Field(description="Whether it falls into the run, not the changeover.")
    cold: bool = Field(description="Whether the line has to be started up again.")


class Run(Contract):
    """A job, or a lot of it, on a line at a time. It ends when its last sellable metre passes the splice
    table.
    """

    job: str = Field(description="Its number.")
    lot: Lot | None = Field(default=None, description="The part of the job that runs; none: all of it.")
    customer: str = Field(description="Who it is for.")
    substrate: str = Field(description="Its label stock.")
    width_mm: Number = Field(description="Width of the roll.")
    die: str = Field(description="Its die.")
    stations: tuple[str, ...] = Field(description="Stations of its layers in laying order, then its die's.")
    changeover: Changeover | None = Field(description="What goes before; none: it had started already.")
    changeover_start: datetime = Field(description="When its changeover starts.")
    print_start: datetime = Field(description="When its first sellable metre passes.")
    end: datetime = Field(description="When its last one does.")
    press_due: datetime | None = Field(description="When it must end to ship in time.")
    late_min: Number = Field(description="How much later it ends.")
    late_eur: Number = Field(description="What its job's lateness costs, with the run that ends the job.")
    speed_m_min: Number = Field(description="Its speed.")
    wait_min: Number = Field(description="From the run before to its changeover, closures included.")
    run_min: Number = Field(description="Running, reel changes included.")
    doffs: int = Field(description="Changes of finished reels.")
    foil_reel_ends: int = Field(description="Changes of foil reels inside the run.")
    roll_ends: int = Field(description="Roll ends inside the run.")
    roll_end: Changeover | None = Field(description="What each of them costs.")
    roll_end_min: Number = Field(description="What they take together.")
    interruptions: tuple[Interruption, ...] = Field(description="Closures it goes through.")
    versions: tuple[VersionRun, ...] = Field(description="Its versions in order.")
    good_m: Number = Field(description="Sellable web.")
    web_m: Number = Field(description="Sellable web and what inspection will reject.")
    waste_m: Number = Field(description="Waste of changeover, roll ends and closures.")
    moved: bool = Field(
        default=False,
        description="Whether the sequence in force has its job, but not behind the same job on this line.",
    )

    @property
    def name(self) -> str:
        """Its job, and which lot of it."""
        return f"{self.job}, {self.lot.name}" if self.lot else self.job


class Indicators(Contract):
    """Indicators of ISO 22400-2; none where nothing was produced."""

    setup_ratio: float | None = Field(description="Set-up time by set-up and running time.")
    availability: float | None = Field(description="Running time by planned busy time.")
    effectiveness: float | None = Field(description="Planned time of the web by running time.")
    quality_ratio: float | None = Field(description="Sellable web by web.")
    oee: float | None = Field(description="Product of the three above.")


class Closure(Contract):
    """A time in which a line is closed."""

    closed_from: datetime = Field(description="When it closes.")
    closed_to: datetime = Field(description="When it opens again.")


class LineRuns(Contract):
    """One line's runs in order."""

    line: str = Field(description="Its name.")
    runs: tuple[Run, ...] = Field(description="In order.")
    closures: tuple[Closure, ...] = Field(
        default=(), description="When it is closed, from the plan's start to the end of its last run."
    )
    waiting_min: Number = Field(description="Open minutes without work up to its last run.")
    clean_down_min: Number = Field(description="Cleaning behind its last run.")
    minute_is_worth_m: float | None = Field(
        description="Metres of waste that cost as much as a minute of the line under the goal."
    )
    indicators: Indicators = Field(description="Of this line.")


class LeftOut(Contract):
    """A job that is not in the sequence, or a lot of one of which others are."""

    job: str = Field(description="Its number.")
    lot: Lot | None = Field(
        default=None, description="The part of the job that is left out; none: all of it."
    )
    reasons: tuple[str, ...] = Field(description="Why, line by line.")

    @property
    def name(self) -> str:
        """Its job, and which lot of it."""
        return f"{self.job}, {self.lot.name}" if self.lot else self.job


class WasteShare(Contract):
    """Wasted web of one kind on one stock."""

    kind: str = Field(
        description="Set-up strip, outgoing blank, restart spoil, splice, start-up, spoilage allowance."
    )
    substrate: str = Field(description="The stock.")
    width_mm: Number = Field(description="Its width.")
    length_m: Number = Field(description="Metres.")
    area_m2: Number = Field(description="Square metres.")


class Slack(Contract):
    """How much earlier than due a job ends; below 0 it is late."""

    job: str = Field(description="Its number.")
    slack_min: Number = Field(description="Minutes.")


class StubCost(Contract):
    """What chosen rolls cost besides their splices, part by part."""

    cut_out_eur: Number = Field(
        description="Web cut out: defects, and what is given up with them so that a roll ends elsewhere."
    )
    core_eur: Number = Field(description="What is lost at cores.")
    scrap_eur: Number = Field(description="Rests too short to be kept.")
    trim_eur: Number = Field(description="Strips cut off wider rolls.")
    opening_eur: Number = Field(description="Rolls opened.")
    taking_back_eur: Number = Field(
        default=Decimal(0), description="Rests taken back to the store, each as often as it goes there."
    )
    age_eur: Number = Field(
        description="Days by which rolls are younger than the oldest there was: a weight when rolls are "
        "chosen, which nobody pays."
    )

    @property
    def parts(self) -> tuple[tuple[str, Decimal], ...]:
        """All that is paid, by the words that people read."""
        return (
            ("web cut out", self.cut_out_eur),
            ("core tails", self.core_eur),
            ("rests too short to keep", self.scrap_eur),
            ("strips cut off wider rolls", self.trim_eur),
            ("rolls opened", self.opening_eur),
            ("rests taken back", self.taking_back_eur),
        )


class Cost(Contract):
    """Money by part, in plain prices whatever the goal."""

    waste_eur: Number = Field(description="Wasted web but for the spoilage allowance, at its stock's price.")
    changeover_eur: Number = Field(
        description="Changeovers, roll ends, closures and cleaning at the line's rate."
    )
    waiting_eur: Number = Field(description="Waiting at the line's rate.")
    running_eur: Number = Field(description="Running at the line's rate.")
    late_eur: Number = Field(description="Late jobs.")
    moved_eur: Number = Field(
        default=Decimal(0), description="Runs that the sequence in force has elsewhere."
    )
    stubs_eur: Number = Field(
        default=Decimal(0),
        description="What chosen rolls cost besides their splices: rests taken back or too short, cores, "
        "openings …",
    )
    stubs: StubCost | None = Field(
        default=None, description="The same part by part; none: no rolls are chosen."
    )
    total_eur: Number = Field(description="Sum of the parts.")
    controllable_eur: Number = Field(description="The same without running: what the order can change.")


class Totals(Contract):
    """What a sequence is judged by, in natural units."""

    jobs: int = Field(description="Jobs placed, whole or in lots.")
    left_out: int = Field(description="Jobs left out, and lots of jobs of which others are placed.")
    waste_m: Number = Field(description="Wasted web but for the spoilage allowance.")
    waste_m2: Number = Field(description="The same in m².")
    waste: tuple[WasteShare, ...] = Field(description="By kind and stock, spoilage allowance included.")
    stops: int = Field(description="Controlled stops.")
    changeovers: dict[str, int] = Field(description="Changeovers by what they change.")
    changeover_min: Number = Field(description="Minutes of changeovers.")
    waiting_min: Number = Field(description="Open minutes without work.")
    running_min: Number = Field(description="Minutes of running.")
    roll_end_min: Number = Field(description="Minutes of roll ends.")
    interruption_min: Number = Field(description="Minutes that closures cost.")
    clean_down_min: Number = Field(description="Minutes of cleaning behind the last runs.")
    late_jobs: int = Field(description="Jobs that end after their press due, split ones with their last lot.")
    lateness_min: Number = Field(description="Their minutes together.")
    moved_runs: int | None = Field(
        default=None, description="Runs that the sequence in force has elsewhere; none: none is in force."
    )
    tightest: tuple[Slack, ...] = Field(description="The jobs with least slack, tightest first.")
    makespan_min: Number = Field(description="From the plan's start to the last end.")
    indicators: Indicators = Field(description="Of all lines together.")

    @property
    def changing_min(self) -> Decimal:
        """Minutes of changeovers, roll ends, closures and cleaning."""
        return self.changeover_min + self.roll_end_min + self.interruption_min + self.clean_down_min

    @property
    def stopped_min(self) -> Decimal:
        """Set-up and stopped minutes: the same and waiting."""
        return self.changing_min + self.waiting_min


class Piece(Contract):
    """A piece of a line's web, in order; metres count from the plan's first on the line."""

    line: str = Field(description="The line.")
    from_m: Number = Field(description="Where it begins.")
    to_m: Number = Field(description="Where it ends.")
    length_m: Number = Field(description="How long it is.")
    kind: str = Field(
        description="sellable, spoilage allowance, set-up strip, outgoing blank, restart spoil …"
    )
    substrate: str = Field(description="Its stock.")
    width_mm: Number = Field(description="Its width.")
    job: str = Field(description="The job it belongs to.")
    version: str | None = Field(description="The version, inside a run.")
    cause: str = Field(description="run, changeover, roll end or closure.")
    run: int = Field(description="Its job's run on the line, counted from 1; 0: what was on it before.")


class Sequence(Contract):
    """An ordered list of runs for every line, with times, changeovers and totals."""

    site: str = Field(description="Where.")
    zone: str = Field(description="Time zone of the site.")
    start: datetime = Field(description="The plan's start.")
    goal: Goal = Field(description="What it was to be best at; it also decides how changeovers are split.")
    lines: tuple[LineRuns, ...] = Field(description="In the plant's order.")
    left_out: tuple[LeftOut, ...] = Field(description="Jobs that do not run, and why.")
    broken_locks: tuple[str, ...] = Field(description="Locks that this order does not keep.")
    cost: Cost = Field(description="Money.")
    totals: Totals = Field(description="Natural units.")
    ledger: tuple[Piece, ...] = Field(description="Every metre of every line's web, in order.")
    rolls: tuple[UsedRoll, ...] | None = Field(
        default=None,
        description="Rolls that something was taken of; none: no stock is followed by roll, or roll ends and "
        "the hours they fall in never agreed.",
    )
    missing: tuple[MissingStock, ...] = Field(default=(), description="Where rolls do not suffice.")


class Baseline(Contract):
    """An order nobody searched for, to compare with."""

    name: str = Field(description="as entered, by due time, or in force.")
    cost: Cost = Field(description="Money.")
    totals: Totals = Field(description="Natural units.")


class SequenceAlternative(Contract):
    """A sequence of the same jobs that is better in something than the recommended one, and dearer."""

    name: str = Field(description="alternative 1, alternative 2 …")
    trade: str = Field(description="What it trades against the recommended sequence, in a sentence.")
    sequence: Sequence = Field(description="The sequence.")


PROVED_GAP = 1e-6
"""Costs closer than this share are equal but for rounding."""


class Search(Contract):
    """How a sequence was found."""

    status: str = Field(description="What the search says of its result.")
    work: int = Field(description="Sequences costed.")
    seed: int = Field(description="Seed of its random choices.")
    bound_eur: Number | None = Field(description="No order can weigh less than this; none: no bound.")
    gap: float | None = Field(description="How far above the bound the sequence may be, as a share.")
    alternatives: int = Field(default=0, description="Alternatives asked for.")
    by_usual_rolls: bool = Field(
        default=False,
        description="Whether bound and gap are those of the order before its rolls were chosen, made of "
        "usual rolls.",
    )

    @property
    def is_proved(self) -> bool:
        """Whether no order costs less, but for rounding."""
        return self.gap is not None and self.gap <= PROVED_GAP


class CostedPlan(Contract):
    """A sequence beside its alternatives and baselines, and how it was found; no search where an order was
    given.
    """

    sequence: Sequence = Field(description="The sequence.")
    baselines: tuple[Baseline, ...] = Field(
        description="As entered and by due time; as in force, where a sequence is."
    )
    search: Search | None = Field(description="How it was found.")
    alternatives: tuple[SequenceAlternative, ...] = Field(
        default=(), description="Least costly under the goal first."
    )


class Progress(Contract):
    """How far a search has come."""

    best_eur: float = Field(description="Weighed cost of the best sequence so far.")
    left_out: int = Field(description="Jobs it leaves out.")
    work: int = Field(description="Sequences costed.")
    elapsed_s: float = Field(description="Seconds since it began.")
    gap: float | None = Field(
        default=None, description="How far above the least it may be, as a share; none: not known."
    )
    bound_eur: float | None = Field(default=None, description="No order can weigh less; none: no bound.")
    percent: float = Field(default=0.0, ge=0, le=100, description="Of its limits used up.")
