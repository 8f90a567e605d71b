"""What exists in the plant: lines and their stations, stocks, dies, cylinders and consumables.

Lengths are integers in µm, times integers in ms, speeds in µm per minute, money in euro; prices,
rates and fractions are exact (`Fraction`). Every class checks its own values when it is made and
raises `ValueError` with all that is wrong; what refers to something else is checked in `problem`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from solver.calendar import ALWAYS_OPEN, Calendar
from solver.checks import Checks
from solver.rolls import Roll, StockRules, stock_of_rolls


class AspectRule(StrEnum):
    """How the minutes of one aspect of a station follow from what is loaded and what is needed."""

    DIFFERS = "differs"
    """The minutes once, when the needed value is another one."""
    WASH_UP = "wash-up"
    """The minutes times a factor from the two consumables' darkness, or an explicit entry."""
    ADDED = "added"
    """The minutes for every needed member that is not there yet (channels to wake)."""


@dataclass(frozen=True, slots=True)
class Aspect:
    """One thing that can be loaded at a station, and what changing it costs.

    Parameters
    ----------
    name
        What is loaded: one of `ASPECT_NAMES`.
    rule
        How the time follows from the change.
    duration_ms
        Time of one change, in ms. An aspect of 0 ms makes no task.
    register_um
        Web until the station is in register again after such a change.
    """

    name: str
    rule: AspectRule
    duration_ms: int
    register_um: int = 0

    def __post_init__(self) -> None:
        checks = Checks(f"aspect {self.name}")
        checks.member("name", self.name, ASPECT_NAMES)
        checks.not_negative("duration_ms", self.duration_ms)
        checks.not_negative("register_um", self.register_um)
        checks.done()


ASPECT_NAMES = (
    "roll",
    "width",
    "cylinder",
    "plate",
    "consumable",
    "anilox",
    "channels",
    "settings",
    "die",
    "slit_layout",
    "core",
)
"""roll and width belong to the splice table; channels and settings to an inkjet; slit_layout to a
slitter; core to a rewinder; the rest to the stations that print, coat, foil or cut."""


@dataclass(frozen=True, slots=True)
class Station:
    """A place on a line where the web is worked.

    Parameters
    ----------
    kind
        The station's kind, a word of the plant's own data.
    x_um
        Its position on the web path, from the splice table.
    does
        Kinds of layer it can put on or do; `("die-cut",)` for a die station. A station that does
        nothing by choice (splice table, slitter, rewinder, camera) has none and is used by every run.
    aspects
        What can be loaded here.
    guarded
        True where a crew may set the station while the web runs and the station is thrown off.
    lift_um
        Web that passes while its heads are lifted over a splice.
    reengage_um
        Web to come into register when the station, thrown off in the run before, is used again.
    max_speed_um_min, channel_speed_um_min, strokes_per_min
        Caps on the line's speed where the station is used: a plain one, one for each channel that
        a run uses (the least counts), and strokes a minute times the die's repeat.
    channels
        Channels an inkjet has.
    """

    id: str
    kind: str
    x_um: int
    does: tuple[str, ...] = ()
    aspects: tuple[Aspect, ...] = ()
    guarded: bool = False
    lift_um: int = 0
    reengage_um: int = 0
    max_speed_um_min: int | None = None
    channel_speed_um_min: dict[str, int] = field(default_factory=dict)
    strokes_per_min: Fraction | None = None
    channels: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        checks = Checks(f"station {self.id}")
        checks.not_negative("x_um", self.x_um)
        checks.not_negative("lift_um", self.lift_um)
        checks.not_negative("reengage_um", self.reengage_um)
        checks.positive_or_none("max_speed_um_min", self.max_speed_um_min)
        checks.positive_or_none("strokes_per_min", self.strokes_per_min)
        for channel, speed in self.channel_speed_um_min.items():
            checks.positive_or_none(f"channel_speed_um_min[{channel}]", speed)
        checks.unique("aspects", (aspect.name for aspect in self.aspects))
        checks.done()

    @property
    def is_inkjet(self) -> bool:
        """Whether it jets: it then spoils print when the web stops and restarts."""
        return any(aspect.name == "channels" for aspect in self.aspects)


@dataclass(frozen=True, slots=True)
class LoadedStation:
    """What is loaded at a station before the plan begins: text by aspect (`channels` apart)."""

    station: str
    tooling: dict[str, str]


@dataclass(frozen=True, slots=True)
class PresentState:
    """A line as it stands at the plan's start.

    Parameters
    ----------
    loaded
        Tooling by station; a station or aspect not named is empty.
    awake
        Channels awake on the line's inkjet.
    substrate, width_um
        The stock on the unwind; None where nothing is threaded (then nothing is spliced).
    thrown_off
        Stations that are thrown off; all others count as engaged.
    cold
        Whether the line has rested long enough to need a start-up.
    low_migration
        Whether the line is clean for low-migration work.
    free_at_ms
        When the line becomes free for its first changeover.
    """

    loaded: tuple[LoadedStation, ...] = ()
    awake: frozenset[str] = frozenset()
    substrate: str | None = None
    width_um: int | None = None
    thrown_off: frozenset[str] = frozenset()
    cold: bool = False
    low_migration: bool = False
    free_at_ms: int = 0

    def __post_init__(self) -> None:
        checks = Checks("present state")
        checks.not_negative("free_at_ms", self.free_at_ms)
        checks.positive_or_none("width_um", self.width_um)
        checks.that(
            (self.substrate is None) == (self.width_um is None),
            "substrate and width_um must be given together",
        )
        checks.unique("loaded", (loaded.station for loaded in self.loaded))
        checks.done()


@dataclass(frozen=True, slots=True)
class Line:
    """A press line: its web path, its speeds, what its stops cost, and its present state.

    Parameters
    ----------
    stations
        In web order. The first is the splice table at 0; the last is where a run out ends
        (the rewinder).
    web_width_um, print_width_um
        Widest web and widest printed part.
    edge_trim_um
        Trim on each edge.
    max_speed_um_min, setup_speed_um_min
        Running at most; passing set-up waste.
    eur_per_ms
        The line's rate.
    stop_ms, job_change_ms, job_change_um
        A controlled stop; what every change of job takes, and its least strip.
    splice_um, settle_um, restart_um
        Web lost in a splice; strip beyond the splice until another substrate settles; printed web
        spoiled at the inkjet by a stop and restart.
    pull_back_um, pull_back_from_um, pull_back_to_um
        How far web can be brought back in one stop, and the zone of stations it reaches.
    hands, hands_while_running
        People for the tasks of a stop; people who can prepare guarded stations while the web runs.
    hold_ms, cold_after_ms
        Longest wait without running the job out; rest after which the line is cold.
    start_up_um, start_up_ms
        Start-up of a cold line.
    registers_in_turn
        True where stations register one after another, not together.
    doff_ms, foil_ms
        A reel change at the rewinder; a foil-reel change inside a run.
    clean_down_in_ms, clean_down_out_ms
        Cleaning before the first and after the last of a row of low-migration jobs.
    spoilage
        Share of web that inspection rejects, by material class; `default_spoilage` elsewhere.
    min_repeat_um, max_repeat_um
        Repeats the line can run.
    max_reel_diameter_um
        Largest reel on its rewinder.
    counter_x_um
        Where the line's metre counter sits.
    deceleration_um_s2
        How fast it slows down in a controlled stop, in µm/s²; None where that is not known.
    """

    id: str
    stations: tuple[Station, ...]
    web_width_um: int
    print_width_um: int
    max_speed_um_min: int
    setup_speed_um_min: int
    edge_trim_um: int = 0
    eur_per_ms: Fraction = Fraction(0)
    stop_ms: int = 0
    job_change_ms: int = 0
    job_change_um: int = 0
    splice_um: int = 0
    settle_um: int = 0
    restart_um: int = 0
    pull_back_um: int = 0
    pull_back_from_um: int = 0
    pull_back_to_um: int = 0
    hands: int = 1
    hands_while_running: int = 0
    hold_ms: int = 0
    cold_after_ms: int | None = None
    start_up_um: int = 0
    start_up_ms: int = 0
    registers_in_turn: bool = False
    doff_ms: int = 0
    foil_ms: int = 0
    clean_down_in_ms: int = 0
    clean_down_out_ms: int = 0
    spoilage: dict[str, Fraction] = field(default_factory=dict)
    default_spoilage: Fraction = Fraction(0)
    min_repeat_um: int | None = None
    max_repeat_um: int | None = None
    max_reel_diameter_um: int | None = None
    counter_x_um: int = 0
    deceleration_um_s2: int | None = None
    calendar: Calendar = ALWAYS_OPEN
    present: PresentState = field(default_factory=PresentState)

    def __post_init__(self) -> None:
        checks = Checks(f"line {self.id}")
        for name in (
            "edge_trim_um",
            "eur_per_ms",
            "stop_ms",
            "job_change_ms",
            "job_change_um",
            "splice_um",
            "settle_um",
            "restart_um",
            "pull_back_um",
            "hands_while_running",
            "hold_ms",
            "start_up_um",
            "start_up_ms",
            "doff_ms",
            "foil_ms",
            "clean_down_in_ms",
            "clean_down_out_ms",
            "counter_x_um",
        ):
            checks.not_negative(name, getattr(self, name))
        for name in (
            "web_width_um",
            "print_width_um",
            "max_speed_um_min",
            "setup_speed_um_min",
            "hands",
            "deceleration_um_s2",
        ):
            checks.positive_or_none(name, getattr(self, name))
        for material_class, share in (*self.spoilage.items(), ("default", self.default_spoilage)):
            checks.that(0 <= share < 1, f"spoilage of {material_class} must be at least 0 and below 1")
        checks.unique("stations", (station.id for station in self.stations))
        checks.that(len(self.stations) >= 1, "needs at least a splice table")
        positions = [station.x_um for station in self.stations]
        checks.that(positions == sorted(positions), "stations must be in web order")
        checks.that(not positions or positions[0] == 0, "the splice table must lie at 0")
        checks.that(
            self.cold_after_ms is None or self.cold_after_ms >= self.hold_ms,
            "cold_after_ms must not be below hold_ms",
        )
        checks.that(
            self.pull_back_from_um <= self.pull_back_to_um, "the pull-back zone must not end before it begins"
        )
        checks.done()


@dataclass(frozen=True, slots=True)
class Delivery:
    """Stock that arrives: when, and how much."""

    at_ms: int
    length_um: int

    def __post_init__(self) -> None:
        checks = Checks("delivery")
        checks.not_negative("length_um", self.length_um)
        checks.done()


@dataclass(frozen=True, slots=True)
class StockedWidth:
    """What is in the store of one substrate in one width.

    `on_hand_um` is None where the amount is not followed; `rolls` is empty where it is not followed by
    roll. With rolls, amount and deliveries are what these give: `by_roll` makes it so.
    """

    width_um: int
    on_hand_um: int | None = None
    deliveries: tuple[Delivery, ...] = ()
    rolls: tuple[Roll, ...] = ()

    def __post_init__(self) -> None:
        checks = Checks(f"stock of width {self.width_um} µm")
        checks.positive_or_none("width_um", self.width_um)
        if self.on_hand_um is not None:
            checks.not_negative("on_hand_um", self.on_hand_um)
        if self.rolls:
            self._check_rolls(checks)
        checks.done()

    @classmethod
    def by_roll(
        cls, width_um: int, rolls: tuple[Roll, ...], core_tail_um: int, queue: Collection[str] | None = None
    ) -> StockedWidth:
        """A width that is followed by roll, with what its rolls give a queue (`stock_of_rolls`)."""
        given = stock_of_rolls(rolls, core_tail_um, queue)
        deliveries = tuple(Delivery(at_ms, length_um) for at_ms, length_um in given.arrivals)
        return cls(width_um, given.on_hand_um, deliveries, rolls)

    def _check_rolls(self, checks: Checks) -> None:
        """Rolls never give more than their metres."""
        there = sum(roll.length_um for roll in self.rolls if roll.arrives_ms == 0)
        to_come = sum(roll.length_um for roll in self.rolls if roll.arrives_ms > 0)
        checks.that(
            self.on_hand_um is not None and self.on_hand_um <= there,
            f"with rolls, on_hand_um must be what they give of {there} µm, is {self.on_hand_um}",
        )
        delivered = sum(delivery.length_um for delivery in self.deliveries)
        checks.that(
            delivered <= to_come, f"deliveries of {delivered} µm are more than rolls to come, {to_come} µm"
        )


@dataclass(frozen=True, slots=True)
class Substrate:
    """A label stock.

    Parameters
    ----------
    material_class
        Decides the spoilage of a line.
    print_settings
        Name of the inkjet's settings for it.
    usual_roll_um
        Length of its usual roll; None where rolls are not followed.
    """

    code: str
    eur_per_m2: Fraction
    widths: tuple[StockedWidth, ...]
    material_class: str = ""
    thickness_um: int | None = None
    liner_thickness_um: int | None = None
    print_settings: str = ""
    usual_roll_um: int | None = None

    def __post_init__(self) -> None:
        checks = Checks(f"substrate {self.code}")
        checks.not_negative("eur_per_m2", self.eur_per_m2)
        checks.positive_or_none("thickness_um", self.thickness_um)
        checks.positive_or_none("liner_thickness_um", self.liner_thickness_um)
        checks.positive_or_none("usual_roll_um", self.usual_roll_um)
        checks.unique("widths", (stocked.width_um for stocked in self.widths))
        checks.done()


@dataclass(frozen=True, slots=True)
class Cylinder:
    """A magnetic or a print cylinder; `copies` is None where there are always enough."""

    id: str
    repeat_um: int
    copies: int | None = None

    def __post_init__(self) -> None:
        checks = Checks(f"cylinder {self.id}")
        checks.positive_or_none("repeat_um", self.repeat_um)
        if self.copies is not None:
            checks.not_negative("copies", self.copies)
        checks.done()


@dataclass(frozen=True, slots=True)
class Die:
    """A cutting tool and the grid of labels it cuts.

    Parameters
    ----------
    cylinder
        The magnetic cylinder it is mounted on, if any.
    print_cylinder
        The cylinder that plates of its jobs are mounted on, if the plant follows them.
    copies
        How many there are; None where there are always enough.
    """

    id: str
    repeat_um: int
    across: int
    around: int
    label_width_um: int
    gap_across_um: int = 0
    cylinder: str | None = None
    print_cylinder: str | None = None
    copies: int | None = None
    min_liner_um: int | None = None
    max_liner_um: int | None = None

    def __post_init__(self) -> None:
        checks = Checks(f"die {self.id}")
        for name in ("repeat_um", "across", "around", "label_width_um"):
            checks.positive_or_none(name, getattr(self, name))
        checks.not_negative("gap_across_um", self.gap_across_um)
        if self.copies is not None:
            checks.not_negative("copies", self.copies)
        checks.done()


@dataclass(frozen=True, slots=True)
class Consumable:
    """An ink, varnish, adhesive, laminate or foil.

    Parameters
    ----------
    darkness
        0 (clear) to 1 (darkest): decides the wash-up.
    anilox
        The anilox roll it is run with, if the plant follows them.
    max_speed_um_min
        Cap from drying or curing.
    reel_um
        Length of its reel, for foils and laminates.
    """

    id: str
    darkness: Fraction = Fraction(0)
    anilox: str | None = None
    max_speed_um_min: int | None = None
    reel_um: int | None = None

    def __post_init__(self) -> None:
        checks = Checks(f"consumable {self.id}")
        checks.that(0 <= self.darkness <= 1, "darkness must lie between 0 and 1")
        checks.positive_or_none("max_speed_um_min", self.max_speed_um_min)
        checks.positive_or_none("reel_um", self.reel_um)
        checks.done()


def tool_key(kind: str, tool_id: str) -> str:
    """One name for a die or a cylinder among all tools that are counted."""
    return f"{kind} {tool_id}"


@dataclass(frozen=True, slots=True)
class Plant:
    """Everything that stays while queues come and go.

    Parameters
    ----------
    wash_up_ms
        Explicit wash-up times by (from, to) consumable; they win over the darkness rule.
    after_press_ms
        From the end of the run to the van: press due = ship due − this.
    core_wall_um
        Wall of the core tubes, to get the outside from the bore.
    moved_run_eur
        Price of a run that the sequence in force has elsewhere.
    stock_rules
        What rolls lose and cost whatever is made from them.
    """

    lines: tuple[Line, ...]
    substrates: tuple[Substrate, ...]
    dies: tuple[Die, ...]
    cylinders: tuple[Cylinder, ...] = ()
    consumables: tuple[Consumable, ...] = ()
    wash_up_ms: dict[tuple[str, str], int] = field(default_factory=dict)
    after_press_ms: int = 0
    core_wall_um: int = 0
    moved_run_eur: Fraction = Fraction(0)
    stock_rules: StockRules = field(default_factory=StockRules)

    def __post_init__(self) -> None:
        checks = Checks("plant")
        checks.unique("lines", (line.id for line in self.lines))
        checks.unique("substrates", (substrate.code for substrate in self.substrates))
        checks.unique("dies", (die.id for die in self.dies))
        checks.unique("cylinders", (cylinder.id for cylinder in self.cylinders))
        checks.unique("consumables", (consumable.id for consumable in self.consumables))
        checks.not_negative("after_press_ms", self.after_press_ms)
        checks.not_negative("core_wall_um", self.core_wall_um)
        checks.not_negative("moved_run_eur", self.moved_run_eur)
        for (before, after), duration_ms in self.wash_up_ms.items():
            checks.not_negative(f"wash_up_ms[{before}, {after}]", duration_ms)
        self._check_rolls(checks)
        checks.done()

    @property
    def has_rolls(self) -> bool:
        """Whether any stock is followed by roll."""
        return any(True for _ in self.rolls)

    @property
    def rolls(self) -> Iterator[tuple[Substrate, StockedWidth, Roll]]:
        """Every roll, with the substrate and the width that it is of."""
        for substrate in self.substrates:
            for stocked in substrate.widths:
                for roll in stocked.rolls:
                    yield substrate, stocked, roll

    def _check_rolls(self, checks: Checks) -> None:
        """A roll is there once, and on an unwind where it is what that line has threaded."""
        checks.unique("rolls", (roll.id for _, _, roll in self.rolls))
        lines = {line.id: line for line in self.lines}
        mounted: dict[str, str] = {}
        for substrate, stocked, roll in self.rolls:
            if roll.on_unwind is None:
                continue
            line = lines.get(roll.on_unwind)
            checks.that(line is not None, f"roll {roll.id} is on the unwind of no line {roll.on_unwind!r}")
            first = mounted.setdefault(roll.on_unwind, roll.id)
            checks.that(first == roll.id, f"rolls {first} and {roll.id} are both on line {roll.on_unwind}")
            if line is None or line.present.substrate is None:
                continue
            present = line.present
            checks.that(
                (present.substrate, present.width_um) == (substrate.code, stocked.width_um),
                f"roll {roll.id} of {substrate.code}, {stocked.width_um} µm wide, is on line {line.id}, "
                f"which has {present.substrate}, {present.width_um} µm wide, threaded",
            )
