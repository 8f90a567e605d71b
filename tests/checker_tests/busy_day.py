"""An invented small day on two lines in which everything turns up that the checker recomputes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from solver.calendar import Calendar
from solver.jobs import Job, Layer, Version
from solver.locks import Before, FixedStart, Started
from solver.plant import (
    Aspect,
    AspectRule,
    Consumable,
    Cylinder,
    Delivery,
    Die,
    Line,
    LoadedStation,
    Plant,
    PresentState,
    Station,
    StockedWidth,
    Substrate,
)
from solver.problem import Problem
from solver.sequence import Order, Placement

MIN_MS = 60_000
M_UM = 1_000_000
FLEXO_1, INKJET, FLEXO_2, DIE = 1, 2, 3, 4


def aspect(name: str, minutes: float, register_m: int = 0, rule: AspectRule = AspectRule.DIFFERS) -> Aspect:
    return Aspect(name, rule, round(minutes * MIN_MS), register_m * M_UM)


def flexo(station_id: str, x_m: int) -> Station:
    aspects = (
        aspect("cylinder", 2, 5),
        aspect("plate", 2, 5),
        aspect("consumable", 4, 3, AspectRule.WASH_UP),
        aspect("anilox", 1, 1),
    )
    return Station(station_id, "flexo", x_m * M_UM, ("spot",), aspects, guarded=True, reengage_um=2 * M_UM)


STATIONS = (
    Station("splice", "splice table", 0, (), (aspect("roll", 1.5), aspect("width", 2))),
    flexo("flexo-1", 5),
    Station(
        "inkjet",
        "inkjet",
        12 * M_UM,
        ("inkjet",),
        (aspect("channels", 1, 2, AspectRule.ADDED), aspect("settings", 0.5)),
        lift_um=5 * M_UM,
        channel_speed_um_min={"W": 20 * M_UM},
        channels=frozenset("CMYKW"),
    ),
    flexo("flexo-2", 21),
    Station("die", "die", 24 * M_UM, ("die-cut",), (aspect("cylinder", 2, 6), aspect("die", 3, 7))),
    Station("slitter", "slitter", 26 * M_UM, (), (aspect("slit_layout", 3, 1),)),
    Station("rewinder", "rewinder", 28 * M_UM, (), (aspect("core", 0),)),
)

LINE_ONE = Line(
    id="one",
    stations=STATIONS,
    web_width_um=340_000,
    print_width_um=330_000,
    max_speed_um_min=60 * M_UM,
    setup_speed_um_min=17 * M_UM,
    edge_trim_um=5_000,
    eur_per_ms=Fraction(180, 3_600_000),
    stop_ms=30_000,
    job_change_ms=MIN_MS,
    splice_um=M_UM,
    settle_um=10 * M_UM,
    restart_um=3 * M_UM,
    hands_while_running=1,
    hold_ms=10 * MIN_MS,
    cold_after_ms=120 * MIN_MS,
    start_up_um=20 * M_UM,
    start_up_ms=4 * MIN_MS,
    doff_ms=15_000,
    foil_ms=2 * MIN_MS,
    clean_down_in_ms=9 * MIN_MS,
    clean_down_out_ms=5 * MIN_MS,
    default_spoilage=Fraction(3, 100),
    calendar=Calendar(((60 * MIN_MS, 75 * MIN_MS), (400 * MIN_MS, 700 * MIN_MS))),
    present=PresentState(
        loaded=(LoadedStation("die", {"die": "round", "cylinder": "mag"}),),
        awake=frozenset("CMYK"),
        substrate="paper",
        width_um=330_000,
        thrown_off=frozenset({"flexo-2"}),
    ),
)
LINE_TWO = replace(
    LINE_ONE,
    id="two",
    restart_um=0,
    settle_um=5 * M_UM,
    pull_back_um=12 * M_UM,
    pull_back_from_um=7 * M_UM,
    pull_back_to_um=17 * M_UM,
    hands=2,
    registers_in_turn=True,
    calendar=Calendar(),
    present=PresentState(substrate="film", width_um=250_000),
)

PLANT = Plant(
    lines=(LINE_ONE, LINE_TWO),
    substrates=(
        Substrate(
            "paper",
            Fraction(60, 100),
            (StockedWidth(330_000, 9000 * M_UM),),
            print_settings="coated",
            usual_roll_um=1000 * M_UM,
        ),
        Substrate(
            "film",
            Fraction(110, 100),
            (
                StockedWidth(250_000, 900 * M_UM, (Delivery(150 * MIN_MS, 4000 * M_UM),)),
                StockedWidth(330_000),
            ),
            print_settings="uncoated",
        ),
    ),
    dies=(
        Die("round", 300_000, 3, 3, 70_000, 3_000, cylinder="mag", print_cylinder="print", copies=1),
        Die("square", 300_000, 3, 2, 72_000, 3_000, cylinder="mag", copies=2),
        Die("wide", 300_000, 5, 2, 72_000, 3_000, cylinder="mag"),
    ),
    cylinders=(Cylinder("mag", 300_000, 3), Cylinder("print", 300_000, 4)),
    consumables=(
        Consumable("black", Fraction(1), anilox="fine"),
        Consumable("yellow", Fraction(1, 4), anilox="coarse"),
        Consumable("gold", anilox="coarse", reel_um=400 * M_UM),
    ),
    wash_up_ms={("gold", "black"): 90_000},
    after_press_ms=30 * MIN_MS,
)


def spot(ink: str, plate: str = "") -> Layer:
    return Layer("spot", ink, plate)


def inkjet(channels: str) -> Layer:
    return Layer("inkjet", channels=frozenset(channels))


def job(job_id: str, die: str, substrate: str, labels: int, *groups: tuple[Layer, ...]) -> Job:
    return Job(
        job_id,
        (Version("a", labels, Fraction(1, 20)), Version("b", labels // 2, max_quantity=labels // 2)),
        substrate,
        die,
        groups,
        slit_layout="three lanes",
        labels_per_reel=1000,
    )


JOBS = (
    job("running", "square", "film", 4000, (inkjet("CMYK"),)),
    job("labels", "round", "paper", 24_000, (inkjet("CMYK"),), (spot("black", "p1"),)),
    replace(
        job("sleeves", "round", "paper", 9_000, (spot("yellow", "p2"),), (inkjet("CMYKW"),), (spot("gold"),)),
        due_ms=115 * MIN_MS,
        late_eur=Fraction(40),
        late_eur_per_h=Fraction(13),
    ),
    replace(job("tea", "square", "film", 6_000, (inkjet("K"),), (spot("black", "p1"),)), low_migration=True),
    replace(
        job("coffee", "square", "paper", 14_000, (spot("yellow", "p2"),), (inkjet("CMYKW"),)),
        ready_ms=230 * MIN_MS,
        slit_layout="two lanes",
    ),
    replace(job("jam", "round", "film", 12_000, (spot("gold", "p3"),)), full_reels=True),
    replace(job("honey", "round", "paper", 7_000), low_migration=True, roll_width_um=330_000),
    job("posters", "wide", "film", 500),
    replace(job("lids", "square", "paper", 5_000, (inkjet("K"),)), ready_ms=720 * MIN_MS),
    replace(job("stickers", "square", "film", 3_000, (inkjet("CMYK"),)), roll_width_um=330_000),
)

PROBLEM = Problem(
    PLANT,
    JOBS,
    (
        Started("running", "two", -20 * MIN_MS, -9 * MIN_MS, 31 * MIN_MS, ("inkjet", "die")),
        FixedStart("jam", 240 * MIN_MS),
        Before("labels", "tea"),
    ),
)

ORDER: Order = (
    (
        Placement(1, (INKJET, FLEXO_2, DIE)),
        Placement(2, (FLEXO_1, INKJET, FLEXO_2, DIE)),
        Placement(9, (INKJET, DIE)),
        Placement(4, (FLEXO_1, INKJET, DIE)),
        Placement(8, (INKJET, DIE)),
    ),
    (
        Placement(0, (INKJET, DIE)),
        Placement(3, (INKJET, FLEXO_2, DIE)),
        Placement(5, (FLEXO_1, DIE)),
        Placement(6, (DIE,)),
    ),
)
