"""A plant as its JSON file gives it: site, lines, stocks, tools, prices, and how the lines stand now."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, Field, StringConstraints
from pydantic_core import PydanticCustomError

from app.contracts.base import (
    CLOCK_PATTERN,
    PITCH_PATTERN,
    ZERO,
    Channel,
    Code,
    Contract,
    Count,
    CountOrZero,
    Darkness,
    Euro,
    Metres,
    MetresPerMinute,
    MetresPerSecondSquared,
    Micrometres,
    Millimetres,
    MillimetresOrZero,
    Minutes,
    Moment,
    OversPercent,
    Percent,
    RollMetres,
    StrokesPerMinute,
    Word,
)


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise PydanticCustomError(
            "zone", "should be a time zone of the IANA list, such as Europe/Paris"
        ) from None
    return name


Zone = Annotated[str, AfterValidator(_known_zone)]


class Site(Contract):
    """Where the lines stand."""

    name: str = Field(description="What the site is called.")
    zone: Zone = Field(description="Its time zone, a name of the IANA list such as Europe/Paris.")
    plan_from: Moment | None = Field(
        default=None,
        description="Start of a plan that names no other. Leave it out in daily work: plans then start now.",
    )

    @property
    def zone_info(self) -> ZoneInfo:
        return ZoneInfo(self.zone)

    def begins(self, asked: datetime | None, now: datetime) -> datetime:
        """When a plan begins: as asked, else as the plant file says, else the next full minute."""
        if asked is not None:
            return asked
        if self.plan_from is not None:
            return self.plan_from
        minute = now.astimezone(UTC).replace(second=0, microsecond=0)
        return minute if minute == now else minute + timedelta(minutes=1)


class AspectName(StrEnum):
    """What can be loaded at a station."""

    ROLL = "roll"
    WIDTH = "width"
    CYLINDER = "cylinder"
    PLATE = "plate"
    CONSUMABLE = "consumable"
    ANILOX = "anilox"
    CHANNELS = "channels"
    SETTINGS = "settings"
    DIE = "die"
    SLIT_LAYOUT = "slit_layout"
    CORE = "core"


class AspectRule(StrEnum):
    """How the minutes of an aspect follow from what is loaded and what is needed."""

    DIFFERS = "differs"
    WASH_UP = "wash-up"
    ADDED = "added"


class Aspect(Contract):
    """One thing that can be loaded at a station, and what changing it costs."""

    name: AspectName = Field(
        description="roll and width belong to the splice table, channels and settings to an inkjet, "
        "slit_layout to a slitter, core to a rewinder, the rest to stations that print, coat, foil or cut."
    )
    rule: AspectRule = Field(
        default=AspectRule.DIFFERS,
        description="differs: the minutes once where another value is needed. wash-up: the minutes by the "
        "darkness of what comes out and goes in. added: the minutes for each channel that is not awake.",
    )
    minutes: Minutes = Field(description="Minutes of one change; 0 makes no task.")
    register_m: Metres = Field(default=ZERO, description="Metres until the station is in register again.")


class StationTraits(Contract):
    """What a station kind says of its stations, and a station may say otherwise. Absent: not said."""

    does: tuple[Word, ...] | None = Field(
        default=None,
        description="Kinds of layer it can put on or do, such as white, inkjet, spot, varnish; die-cut for a "
        "die station. None at all for what every run passes: splice table, slitter, rewinder.",
    )
    aspects: tuple[Aspect, ...] | None = Field(
        default=None,
        description="What can be loaded. At a station: only what differs from its kind, by name.",
    )
    guarded: bool | None = Field(
        default=None,
        description="True where the crew may set the station while the web runs past it, thrown off.",
    )
    lift_m: Metres | None = Field(
        default=None, description="Metres that pass while its heads are lifted over a splice."
    )
    reengage_m: Metres | None = Field(
        default=None, description="Metres to come into register when it was thrown off in the run before."
    )
    max_speed_m_min: MetresPerMinute | None = Field(
        default=None, description="Most m/min of a run that uses the station."
    )
    channel_speed_m_min: dict[Channel, MetresPerMinute] | None = Field(
        default=None, description="Most m/min by channel; of the channels a run uses the least counts."
    )
    strokes_per_min: StrokesPerMinute | None = Field(
        default=None,
        description="Strokes a minute of a semi-rotary station: times the repeat, a cap on speed.",
    )
    channels: tuple[Channel, ...] | None = Field(default=None, description="Channels an inkjet has.")


class StationKind(StationTraits):
    """A kind of station."""


class Station(StationTraits):
    """A place on a line where the web is worked."""

    id: Word = Field(description="Its name on the line, such as flexo-1.")
    kind: Word = Field(description="A name of station_kinds.")
    position_m: Metres = Field(description="Metres along the web path from the splice table.")


class Weekday(StrEnum):
    """Days as a calendar names them."""

    MON = "mon"
    TUE = "tue"
    WED = "wed"
    THU = "thu"
    FRI = "fri"
    SAT = "sat"
    SUN = "sun"


ClockTime = Annotated[str, StringConstraints(pattern=CLOCK_PATTERN)]


class Shift(Contract):
    """Hours a line is manned, week after week."""

    days: tuple[Weekday, ...] = Field(min_length=1, description="Days on which the shift begins.")
    start: ClockTime = Field(alias="from", description="HH:MM on the site's clock.")
    end: ClockTime = Field(
        alias="to", description="HH:MM on the site's clock; not later than from means on the next day."
    )


class Closure(Contract):
    """A time in which a line stands whatever the shifts say."""

    start: Moment = Field(alias="from", description="When it begins; without an offset on the site's clock.")
    end: Moment = Field(alias="to", description="When it ends.")
    reason: str = Field(default="", description="Why, for people.")


class Calendar(Contract):
    """When lines are manned."""

    shifts: tuple[Shift, ...] = Field(default=(), description="Weekly shifts; none means round the clock.")
    closures: tuple[Closure, ...] = Field(default=(), description="Holidays, maintenance and the like.")


class LoadedTooling(Contract):
    """What is loaded at a station; what is not named is empty."""

    cylinder: Code | None = Field(default=None, description="Cylinder on it.")
    plate: Code | None = Field(default=None, description="Plate on it: JOB/n is that of layer n of a job.")
    consumable: Word | None = Field(
        default=None, description="Ink, varnish, adhesive, laminate or foil in it."
    )
    anilox: Code | None = Field(default=None, description="Anilox in it.")
    settings: Code | None = Field(default=None, description="Print settings an inkjet is on.")
    die: Code | None = Field(default=None, description="Die on it.")
    slit_layout: Code | None = Field(
        default=None, description="Lanes the knives stand for: how many × lane width in mm, such as 3 × 103."
    )
    core_mm: Millimetres | None = Field(default=None, description="Bore of the cores on the rewinder.")

    def by_field(self) -> dict[str, str]:
        """What is named, as text."""
        return {name: str(value) for name, value in self if value is not None}


class PresentState(Contract):
    """How a line stands when the plan starts."""

    loaded: dict[Word, LoadedTooling] = Field(
        default_factory=dict, description="Tooling by station; a station not named is empty."
    )
    awake: tuple[Channel, ...] = Field(default=(), description="Channels awake on the inkjet.")
    substrate: Code | None = Field(
        default=None, description="Stock on the unwind; absent: nothing is threaded."
    )
    width_mm: Millimetres | None = Field(default=None, description="Width of that stock.")
    thrown_off: tuple[Word, ...] = Field(default=(), description="Stations that are thrown off.")
    cold: bool = Field(default=False, description="Whether the line must be started up first.")
    low_migration: bool = Field(default=False, description="Whether it is clean for low-migration work.")
    free_at: Moment | None = Field(default=None, description="When it becomes free; absent: at once.")


MOST_STATIONS = 24
"""Every way of parting a changeover's tasks into stops is tried; more stations would take too long."""


class PullBackZone(Contract):
    """The stretch of web path whose stations a pull-back reaches, ends included."""

    from_m: Metres = Field(description="Metres from the splice table.")
    to_m: Metres = Field(description="Metres from the splice table.")


class Line(Contract):
    """A press line."""

    id: Code = Field(description="Its name.")
    note: str = Field(default="", description="A remark for people.")
    stations: tuple[Station, ...] = Field(
        min_length=1,
        max_length=MOST_STATIONS,
        description="In web order: the splice table at 0 first, the rewinder last.",
    )
    web_width_mm: Millimetres = Field(description="Widest web.")
    print_width_mm: Millimetres = Field(description="Widest printed part.")
    edge_trim_mm: MillimetresOrZero = Field(default=ZERO, description="Trim on each edge.")
    max_speed_m_min: MetresPerMinute = Field(description="Fastest run.")
    setup_speed_m_min: MetresPerMinute = Field(description="Speed at which set-up waste passes.")
    eur_per_h: Euro = Field(default=ZERO, description="Rate of the line, crew included.")
    stop_min: Minutes = Field(default=ZERO, description="A controlled stop and restart, without its tasks.")
    job_change_min: Minutes = Field(default=ZERO, description="What every change of job takes.")
    job_change_m: Metres = Field(default=ZERO, description="Least set-up strip of a change of job.")
    splice_m: Metres = Field(default=ZERO, description="Web lost in a splice.")
    settle_m: Metres = Field(
        default=ZERO, description="Strip behind a splice until another substrate runs true."
    )
    restart_m: Metres = Field(
        default=ZERO,
        description="Printed web that a stop and restart spoils at the inkjet; 0 on a buffered line.",
    )
    pull_back_m: Metres = Field(default=ZERO, description="How far web can be brought back in one stop.")
    pull_back_zone: PullBackZone | None = Field(
        default=None, description="Stations that a pull-back reaches."
    )
    hands: Count = Field(default=1, description="People at the tasks of a stop.")
    hands_while_running: CountOrZero = Field(
        default=0, description="People who can set guarded stations while the web runs."
    )
    hold_min: Minutes = Field(default=ZERO, description="Longest wait before the job before is run out.")
    cold_after_min: Minutes | None = Field(
        default=None, description="Rest after which the line is cold; absent: never."
    )
    start_up_m: Metres = Field(default=ZERO, description="Web of a cold start.")
    start_up_min: Minutes = Field(default=ZERO, description="Time of a cold start.")
    registers: Literal["together", "in turn"] = Field(
        default="together", description="Whether stations come into register together or one after another."
    )
    doff_min: Minutes = Field(default=ZERO, description="A change of finished reels; 0 with a turret.")
    foil_min: Minutes = Field(default=ZERO, description="A change of foil reel inside a run.")
    clean_down_in_min: Minutes = Field(default=ZERO, description="Cleaning before low-migration work.")
    clean_down_out_min: Minutes = Field(default=ZERO, description="Cleaning after it.")
    spoilage_pct: dict[Code, Percent] = Field(
        default_factory=dict, description="Share of web that inspection rejects, by material class."
    )
    default_spoilage_pct: Percent = Field(default=ZERO, description="The same for every other class.")
    min_repeat_mm: Millimetres | None = Field(default=None, description="Shortest repeat it runs.")
    max_repeat_mm: Millimetres | None = Field(default=None, description="Longest repeat it runs.")
    max_reel_diameter_mm: Millimetres | None = Field(default=None, description="Largest finished reel.")
    counter_x_m: Metres = Field(default=ZERO, description="Where on the web path its metre counter sits.")
    deceleration_m_s2: MetresPerSecondSquared | None = Field(
        default=None, description="How fast it slows down in a controlled stop; absent: not known."
    )
    calendar: Calendar | None = Field(default=None, description="Its own calendar in place of the plant's.")
    present: PresentState = Field(default=PresentState(), description="How it stands when the plan starts.")


class Delivery(Contract):
    """Stock that is to come."""

    at: Moment = Field(description="When it can be used; a time that has passed counts as arrived.")
    length_m: Metres = Field(description="How much.")


class FlawKind(StrEnum):
    """What is wrong with a place of a roll."""

    DEFECT = "defect"
    SPLICE = "splice"


class Flaw(Contract):
    """A flagged place of a roll."""

    kind: FlawKind = Field(description="defect: web that cannot be sold; splice: two webs joined.")
    from_m: Metres = Field(description="Metres from the outside end, the first that unwinds.")
    to_m: Metres | None = Field(
        default=None, description="Where a defect ends; a splice has no length and leaves it out."
    )

    @property
    def end_m(self) -> Decimal:
        """Where it ends; of a splice where it lies."""
        return self.from_m if self.to_m is None else self.to_m


class Roll(Contract):
    """A roll in the store, or on its way there."""

    id: Code = Field(description="Its number, there once in the plant.")
    length_m: Metres = Field(gt=0, description="Metres on it.")
    received: Moment | None = Field(
        default=None, description="When it came into the store; absent: nobody knows."
    )
    best_before: Moment | None = Field(
        default=None, description="From when on it must not be used; absent: it keeps."
    )
    location: str = Field(default="", description="Where it lies.")
    flaws: tuple[Flaw, ...] = Field(
        default=(), description="Its flagged places in unwinding order, without overlap."
    )
    reserved_for: Code | None = Field(
        default=None, description="The only job that may take it; absent: any. It need not be in the queue."
    )
    on_unwind: Code | None = Field(
        default=None, description="The line on whose unwind it is; absent: on none."
    )
    arrives: Moment | None = Field(
        default=None, description="When it can be used; absent or passed: it is there."
    )


class StockedWidth(Contract):
    """A substrate in one width."""

    width_mm: Millimetres = Field(description="Width of its rolls.")
    on_hand_m: Metres | None = Field(
        default=None,
        description="Metres in the store; absent: not followed, or followed by roll. Not given beside rolls.",
    )
    deliveries: tuple[Delivery, ...] = Field(
        default=(),
        description="What is still to come. Beside rolls: taken to be rolls of the stock's usual length.",
    )
    rolls: tuple[Roll, ...] = Field(
        default=(), description="Its rolls, each by itself; none: it is not followed by roll."
    )


class Substrate(Contract):
    """A label stock."""

    code: Code = Field(description="What job rows call it.")
    name: str = Field(default="", description="What people call it.")
    eur_per_m2: Euro = Field(description="Its price.")
    widths: tuple[StockedWidth, ...] = Field(description="Widths it is stocked in.")
    material_class: str = Field(default="", description="Decides the spoilage, such as paper or film.")
    thickness_um: Micrometres | None = Field(default=None, description="Of the whole laminate, in µm.")
    liner_thickness_um: Micrometres | None = Field(default=None, description="Of the liner, in µm.")
    print_settings: str = Field(default="", description="Name of the inkjet's settings for it.")
    usual_roll_m: RollMetres | None = Field(
        default=None, description="Length of its usual roll; absent: roll ends are not followed."
    )


Copies = Annotated[int, Field(ge=0, le=1000, strict=True)]
"""Every copy is followed by itself; where there are always enough the count is left out."""

Teeth = Annotated[int, Field(ge=1, le=10_000, strict=True)]
Pitch = Annotated[str, StringConstraints(pattern=PITCH_PATTERN, max_length=20)]
_PITCH = (
    "Gear pitch the teeth are cut in: 1/8 in, 1/4 in (circular), module m (mm of diameter a tooth) or DP n "
    "(teeth an inch of diameter). 96 teeth are 304.8 mm at 1/8 in and 301.6 mm at module 1."
)


class Cylinder(Contract):
    """A magnetic or a print cylinder: its repeat, or its teeth and their pitch."""

    id: Code = Field(description="Its number.")
    repeat_mm: Millimetres | None = Field(default=None, description="Its circumference.")
    teeth: Teeth | None = Field(default=None, description="Its teeth, where repeat_mm is not given.")
    pitch: Pitch | None = Field(default=None, description=_PITCH)
    copies: Copies | None = Field(default=None, description="How many there are; absent: always enough.")


class Die(Contract):
    """A cutting tool. Its repeat is given as repeat_mm, as teeth and pitch, or by its cylinder."""

    id: Code = Field(description="Its number, as job rows call it.")
    repeat_mm: Millimetres | None = Field(default=None, description="Circumference or plate length.")
    teeth: Teeth | None = Field(default=None, description="Teeth, where repeat_mm is not given.")
    pitch: Pitch | None = Field(default=None, description=_PITCH)
    across: Count = Field(le=1000, description="Labels side by side.")
    around: Count = Field(le=10_000, description="Labels in one repeat, one after another.")
    label_width_mm: Millimetres = Field(description="Width of a label, across the web.")
    gap_across_mm: MillimetresOrZero = Field(default=ZERO, description="Between labels, across the web.")
    cylinder: Code | None = Field(default=None, description="Magnetic cylinder it is mounted on.")
    print_cylinder: Code | None = Field(
        default=None, description="Cylinder for the plates of its jobs, where they are followed."
    )
    copies: Copies | None = Field(default=None, description="How many there are; absent: always enough.")
    min_liner_um: Micrometres | None = Field(default=None, description="Thinnest liner it cuts on.")
    max_liner_um: Micrometres | None = Field(default=None, description="Thickest liner it cuts on.")


class Consumable(Contract):
    """An ink, varnish, adhesive, laminate or foil."""

    id: Word = Field(description="What job rows call it.")
    darkness: Darkness = Field(default=ZERO, description="0 clear to 1 darkest: decides the wash-up.")
    plate: bool = Field(
        default=False, description="Whether its layers are printed from a plate of the job's own."
    )
    anilox: Code | None = Field(default=None, description="Anilox it is run with, where they are followed.")
    max_speed_m_min: MetresPerMinute | None = Field(default=None, description="Cap from drying or curing.")
    reel_m: RollMetres | None = Field(default=None, description="Length of its reel: foils, laminates.")


class WashUp(Contract):
    """A wash-up with a time of its own, in place of the rule by darkness."""

    before: Word = Field(alias="from", description="Consumable that comes out.")
    after: Word = Field(alias="to", description="Consumable that goes in.")
    minutes: Minutes = Field(description="How long it takes.")


class StockRules(Contract):
    """What rolls lose and cost whatever is made from them. What is not given is a round figure of ours
    without a source.
    """

    least_stub_m: Metres = Field(
        default=Decimal(100),
        description="A rest of at least so much goes back to the store, else it is scrap.",
    )
    core_tail_m: Metres = Field(
        default=Decimal(3), description="Lost at the core of every roll that runs to its end."
    )
    open_eur: Euro = Field(default=Decimal(2), description="Price of opening a new roll.")
    stub_eur: Euro = Field(
        default=Decimal(3),
        description="Price of taking a rest back to the store, once for every rest that goes there: "
        "wrapping, labelling, carrying.",
    )
    age_eur_per_day: Euro = Field(
        default=Decimal("0.01"),
        description="Price of every day by which a roll is younger than the oldest that could be taken: it "
        "breaks ties between rolls and should outweigh nothing else.",
    )
    most_trim_mm: MillimetresOrZero = Field(
        default=Decimal(30),
        description="How much wider than needed a roll may be that is slit before it is mounted; 0: none "
        "is slit.",
    )


class Plant(Contract):
    """Everything that stays while queues come and go."""

    note: str = Field(default="", description="A remark for people.")
    site: Site = Field(description="The place and its clock.")
    calendar: Calendar = Field(
        default=Calendar(), description="When lines are manned, unless a line says otherwise."
    )
    station_kinds: dict[Word, StationKind] = Field(description="Kinds of station, by name.")
    lines: tuple[Line, ...] = Field(min_length=1, description="The press lines.")
    substrates: tuple[Substrate, ...] = Field(description="The label stocks.")
    dies: tuple[Die, ...] = Field(description="The cutting tools.")
    cylinders: tuple[Cylinder, ...] = Field(default=(), description="Magnetic and print cylinders.")
    consumables: tuple[Consumable, ...] = Field(
        default=(), description="Inks, varnishes, foils and the like."
    )
    wash_ups: tuple[WashUp, ...] = Field(default=(), description="Wash-ups with a time of their own.")
    late_eur: Euro = Field(
        default=ZERO, description="Price of a job that misses its van, unless the job says its own."
    )
    late_eur_per_h: Euro = Field(
        default=ZERO, description="Price of every hour beyond, unless the job says its own."
    )
    after_press_min: Minutes = Field(default=ZERO, description="From the end of a run to the van.")
    overs_pct: OversPercent = Field(
        default=ZERO, description="Labels made beyond the quantity, unless the version says."
    )
    core_wall_mm: MillimetresOrZero = Field(default=ZERO, description="Wall of the core tubes.")
    moved_run_eur: Euro = Field(
        default=Decimal(10),
        description="Price of every run that a sequence in force has elsewhere: not behind the same job on "
        "the same line.",
    )
    stock_rules: StockRules = Field(
        default=StockRules(), description="What rolls lose and cost whatever is made from them."
    )

    def aspects_of(self, station: Station) -> dict[AspectName, Aspect]:
        """What can be loaded at a station: its kind's aspects with its own in their place, by name."""
        kind = self.station_kinds.get(station.kind)
        of_kind = kind.aspects or () if kind else ()
        return {aspect.name: aspect for aspect in (*of_kind, *(station.aspects or ()))}
