"""A sequence: runs in order on every line, with everything that was worked out about them.

These are results, filled by `schedule` and `account`; nothing here computes. Lengths are integers in
µm, times integers in ms from the plan's start, money is in euro.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from solver.stub_cost import StubCost


@dataclass(frozen=True, slots=True, order=True)
class Lot:
    """A part of a split job: its labels from `first` up to before `last`.

    The labels of a job are counted from 0, those of its versions laid end to end in order.
    """

    first: int
    last: int

    @property
    def labels(self) -> int:
        return self.last - self.first

    def __str__(self) -> str:
        """As people count labels: from 1, the last one included."""
        return f"labels {self.first + 1} to {self.last}"


MOST_LOTS = 3
"""Lots a job may be split into: every further one is set up again."""


@dataclass(frozen=True, slots=True)
class Placement:
    """A job on a line, with the stations chosen for its layers.

    `stations` holds an index into the line's stations for every layer in laying order, then the die
    station's. `lot` is the part of the job that runs here; None for all of it.
    """

    job_idx: int
    stations: tuple[int, ...]
    lot: Lot | None = None


Order = tuple[tuple[Placement, ...], ...]
"""Placements in order, for every line of the plant in the plant's order."""

RollEnds = Mapping[tuple[int, Placement], tuple[int, ...]]
"""Where rolls end, by line and what runs there: how much web of the run, in µm, comes before; below 0 on the
strip that it is set up on.
"""


@dataclass(frozen=True, slots=True)
class ChosenRolls:
    """What rolls chosen for an order mean to its costing: where they end, and what they cost besides."""

    ends: RollEnds
    cost: StubCost


class Stock(NamedTuple):
    """A substrate in a width. A named tuple: schedules look it up more often than anything else."""

    substrate: str
    width_um: int


class Mode(StrEnum):
    """How the web stood before a changeover."""

    HELD = "held"
    RUN_OUT = "run-out"


@dataclass(frozen=True, slots=True)
class AspectChange:
    """One aspect that changes at a station: what comes out and goes in, and its time."""

    aspect: str
    before: str
    after: str
    duration_ms: Fraction
    register_um: int


@dataclass(frozen=True, slots=True)
class Task:
    """One station to be changed. Its time is the sum over its aspects, its register their largest."""

    station_idx: int
    station: str
    x_um: int
    changes: tuple[AspectChange, ...]
    duration_ms: Fraction
    register_um: int


@dataclass(frozen=True, slots=True)
class Stop:
    """One controlled stop: made when the last sellable metre reaches `at_x_um`.

    `duration_ms` is the stop itself and the make-ready of its tasks on the hands at hand.
    """

    at_x_um: int
    tasks: tuple[Task, ...]
    duration_ms: Fraction


@dataclass(frozen=True, slots=True)
class Changeover:
    """Everything between two runs, or at a roll end inside one.

    Parameters
    ----------
    cold
        Whether the line had to be started up.
    stops, hidden, reengaged
        Stops along the web; tasks done while the run before ran; stations that come back.
    splice_at_um
        Where the splice lies, from the last sellable metre on; None where nothing is spliced.
    strip_um
        Web from the outgoing run's last sellable metre to the incoming run's first, without splice
        and start-up. Its first `splice_at_um` are outgoing stock.
    spoil_before, spoil_after
        Intervals of printed web spoiled by stops: below 0 the outgoing job's, above the strip the
        incoming one's. Sorted, disjoint, in the coordinate that starts at the last sellable metre.
    splice_um, start_up_um
        Web lost in the splice and in the start-up.
    duration_ms
        All of it, rounded once.
    joined
        Whether the run runs as one with the run before: then nothing is done and nothing wasted.
    """

    mode: Mode
    cold: bool
    stops: tuple[Stop, ...]
    hidden: tuple[Task, ...]
    reengaged: tuple[str, ...]
    splice_at_um: int | None
    strip_um: int
    spoil_before: tuple[tuple[int, int], ...]
    spoil_after: tuple[tuple[int, int], ...]
    splice_um: int
    start_up_um: int
    clean_down_ms: int
    duration_ms: int
    joined: bool = False

    @property
    def blank_um(self) -> int:
        """Outgoing stock left blank."""
        return self.splice_at_um or 0

    @property
    def spoil_before_um(self) -> int:
        return sum(end - start for start, end in self.spoil_before) if self.spoil_before else 0

    @property
    def spoil_after_um(self) -> int:
        return sum(end - start for start, end in self.spoil_after) if self.spoil_after else 0

    @property
    def outgoing_waste_um(self) -> int:
        """Waste taken from the outgoing stock."""
        return self.blank_um + self.spoil_before_um

    @property
    def incoming_waste_um(self) -> int:
        """Waste taken from the incoming stock."""
        return self.strip_um - self.blank_um + self.spoil_after_um + self.splice_um + self.start_up_um

    @property
    def waste_um(self) -> int:
        return self.outgoing_waste_um + self.incoming_waste_um


@dataclass(frozen=True, slots=True)
class VersionRun:
    """What a run makes of one version.

    `target` labels are wanted of this run; `labels` are what whole repeats give. `reels` are one a lane at
    every doff, the last ones short. `held_to_maximum` tells that the most that may be sent of the version won
    over overs or full reels.
    """

    version: str
    quantity: int
    target: int
    labels: int
    good_um: int
    web_um: int
    reels: int
    held_to_maximum: bool


@dataclass(frozen=True, slots=True)
class Interruption:
    """A closure that changeover or run went through: what it cost when it ended.

    `during_run` tells a run from a changeover; `work_done_ms` is how much of that work was done when
    the closure began (interruptions before it not counted).
    """

    closure_start_ms: int
    closure_end_ms: int
    duration_ms: int
    waste_um: int
    during_run: bool
    work_done_ms: int
    cold: bool


@dataclass(frozen=True, slots=True)
class RollEnd:
    """A roll that ends inside a run, after `at_um` of the run's web, or on the strip before it, so far
    before its first sellable metre. `changeover` is what the splice alone costs.
    """

    at_um: int
    changeover: Changeover

    @property
    def is_on_strip(self) -> bool:
        """Whether it falls on web that is waste anyhow."""
        return self.at_um <= 0


@dataclass(frozen=True, slots=True)
class Run:
    """A job, or a lot of it, placed on a line at a time.

    `changeover` is None for a run that had started before the plan. `run_ms` is running time alone;
    `roll_ends` are in the order of its web. The run ends at `end_ms`, when its
    last sellable metre passes the splice table. `lateness_ms` is its own; `late_eur` is the job's, and
    stands with the run that ends the job. `moved` tells that the sequence in force has its job elsewhere.
    """

    job_idx: int
    job: str
    line: str
    placement: Placement
    stations: tuple[str, ...]
    stock: Stock
    versions: tuple[VersionRun, ...]
    speed_um_min: int
    doffs: int
    foil_reel_ends: int
    changeover: Changeover | None
    wait_ms: int
    changeover_start_ms: int
    print_start_ms: int
    end_ms: int
    run_ms: int
    roll_ends: tuple[RollEnd, ...]
    interruptions: tuple[Interruption, ...]
    press_due_ms: int | None
    lateness_ms: int
    late_eur: Fraction
    moved: bool = False

    @property
    def lot(self) -> Lot | None:
        return self.placement.lot

    @property
    def good_um(self) -> int:
        return sum(version.good_um for version in self.versions)

    @property
    def web_um(self) -> int:
        """Sellable web and spoilage allowance."""
        return sum(version.web_um for version in self.versions)

    @property
    def roll_end_waste_um(self) -> int:
        return sum(end.changeover.waste_um for end in self.roll_ends) if self.roll_ends else 0

    @property
    def roll_end_ms(self) -> int:
        return sum(end.changeover.duration_ms for end in self.roll_ends) if self.roll_ends else 0

    @property
    def interruption_ms(self) -> int:
        stopped = self.interruptions
        return sum(interruption.duration_ms for interruption in stopped) if stopped else 0

    @property
    def interruption_waste_um(self) -> int:
        stopped = self.interruptions
        return sum(interruption.waste_um for interruption in stopped) if stopped else 0


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A job that is not in the sequence, and why: the reason for each line, or for the stock.

    `lot` is what is missing of a job of which other lots run.
    """

    job: str
    reasons: tuple[str, ...]
    lot: Lot | None = None


@dataclass(frozen=True, slots=True)
class LineRuns:
    """One line's runs in order.

    `waiting_ms` are the line's open minutes without work between the plan's first start and its last
    run; `clean_down_ms` follows the last run when it was low-migration work.
    """

    line: str
    runs: tuple[Run, ...]
    waiting_ms: int
    clean_down_ms: int


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost in euro by part. Times are priced at the line's rate, waste at its stock's price, runs that the
    sequence in force has elsewhere at the plant's price of a moved run. `stubs` is None where no rolls are
    chosen.
    """

    waste_eur: Fraction
    changeover_eur: Fraction
    waiting_eur: Fraction
    running_eur: Fraction
    late_eur: Fraction
    moved_eur: Fraction = Fraction(0)
    stubs: StubCost | None = None

    @property
    def stubs_eur(self) -> Fraction:
        """What chosen rolls cost besides their splices."""
        return Fraction(0) if self.stubs is None else self.stubs.total_eur

    @property
    def total_eur(self) -> Fraction:
        timed_eur = self.changeover_eur + self.waiting_eur + self.running_eur
        return self.waste_eur + timed_eur + self.late_eur + self.moved_eur + self.stubs_eur

    @property
    def controllable_eur(self) -> Fraction:
        """What the order can change: all but running time."""
        return self.total_eur - self.running_eur


@dataclass(frozen=True, slots=True)
class Sequence:
    """An ordered list of runs for every line, with times, changeovers and totals.

    `broken_locks` names every lock this order does not keep. `cost` is plain money; `weighed_eur` is
    what the goal's weights make of it.
    """

    lines: tuple[LineRuns, ...]
    left_out: tuple[LeftOut, ...]
    broken_locks: tuple[str, ...]
    cost: Cost
    weighed_eur: Fraction

    @property
    def runs(self) -> tuple[Run, ...]:
        return tuple(run for line in self.lines for run in line.runs)

    @property
    def order(self) -> Order:
        return tuple(tuple(run.placement for run in line.runs) for line in self.lines)


class PieceKind(StrEnum):
    """What a piece of web is."""

    SELLABLE = "sellable"
    SPOILAGE = "spoilage allowance"
    STRIP = "set-up strip"
    BLANK = "outgoing blank"
    RESTART = "restart spoil"
    SPLICE = "splice"
    START_UP = "start-up"


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a line's web, `[from_um, to_um)` counted from the plan's first metre on the line.

    `cause` says what it belongs to: "run", "changeover", "roll end" or "closure". `run` is the number of
    the job's run on the line, counted from 1; 0 for what was on the line before the plan.
    """

    line: str
    from_um: int
    to_um: int
    kind: PieceKind
    stock: Stock
    job: str
    version: str | None
    cause: str
    run: int

    @property
    def length_um(self) -> int:
        return self.to_um - self.from_um
