"""Invented plants and queues, drawn from a seed: every feature of the model turns up somewhere."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from solver.calendar import Calendar
from solver.feasibility import station_choices
from solver.jobs import Job, Layer, Version
from solver.lots import cuts, may_split, total_labels
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
from solver.sequence import Lot, Order, Placement

M_UM = 1_000_000
MM_UM = 1_000
MIN_MS = 60_000
H_MS = 3_600_000

WIDTHS_MM = (250, 330)
INKS = ("white", "yellow", "red", "black")
VARNISHES = ("gloss", "matt")
FOILS = ("gold", "silver")


@dataclass(frozen=True)
class DayShape:
    """How much of what a drawn day holds.

    With `splits` some jobs may be split, some may join, and some are made like the job before them; all
    else is as without.
    """

    jobs: int = 8
    lines: int = 2
    closures: bool = True
    limited_stock: bool = True
    layers: int = 3
    late_prices: bool = True
    splits: bool = False


def drawn_day(seed: int, shape: DayShape | None = None) -> Problem:
    """A plant and a queue; the same for the same seed and shape."""
    shape = shape or DayShape()
    rng = random.Random(seed)
    dies = tuple(_die(rng, die_idx) for die_idx in range(5))
    substrates = tuple(_substrate(rng, code, shape) for code in ("paper", "film", "foamed"))
    cylinders = tuple(
        Cylinder(cylinder_id, repeat_um, copies)
        for cylinder_id, repeat_um, copies in (
            ("mag-80", 254_000, rng.choice((1, 2, None))),
            ("mag-96", 304_800, rng.choice((1, 2))),
            ("print-80", 254_000, rng.choice((2, 4, None))),
            ("print-96", 304_800, rng.choice((3, None))),
        )
    )
    consumables = (
        *(
            Consumable(ink, Fraction(idx, 4), anilox=rng.choice((None, "a-360")))
            for idx, ink in enumerate(INKS)
        ),
        *(Consumable(varnish, anilox="a-120", max_speed_um_min=60 * M_UM) for varnish in VARNISHES),
        *(Consumable(foil, reel_um=rng.choice((400, 900)) * M_UM) for foil in FOILS),
    )
    lines = tuple(_line(rng, line_idx, shape, dies) for line_idx in range(shape.lines))
    plant = Plant(
        lines=lines,
        substrates=substrates,
        dies=dies,
        cylinders=cylinders,
        consumables=consumables,
        wash_up_ms={("red", "black"): 2 * MIN_MS, ("black", "white"): 20 * MIN_MS},
        after_press_ms=30 * MIN_MS,
        core_wall_um=3_500,
    )
    jobs = tuple(_job(rng, job_idx, shape) for job_idx in range(shape.jobs))
    return Problem(plant, _splitting(rng, jobs) if shape.splits else jobs)


def _splitting(rng: random.Random, jobs: tuple[Job, ...]) -> tuple[Job, ...]:
    """The jobs with least lots and leave to join; half of them made like the one before."""
    made: list[Job] = []
    for job in jobs:
        if made and rng.random() < 0.5:
            like = made[-1]
            job = replace(
                job,
                substrate=like.substrate,
                die=like.die,
                layer_groups=like.layer_groups,
                slit_layout=like.slit_layout,
                core_um=like.core_um,
                roll_width_um=like.roll_width_um,
                low_migration=like.low_migration,
            )
        least_lot = rng.choice((None, 1, 300, 2_000))
        made.append(replace(job, least_lot=least_lot, may_join=rng.random() < 0.6))
    return tuple(made)


def drawn_order(problem: Problem, seed: int) -> Order:
    """Every job that can run at a random place, at random stations."""
    rng = random.Random(seed)
    order: list[list[Placement]] = [[] for _ in problem.plant.lines]
    job_idxs = list(range(len(problem.jobs)))
    rng.shuffle(job_idxs)
    for job_idx in job_idxs:
        choices = [
            (line_idx, stations)
            for line_idx in range(len(order))
            for stations in station_choices(problem, line_idx, job_idx)
        ]
        if choices:
            line_idx, stations = rng.choice(choices)
            order[line_idx].append(Placement(job_idx, stations))
    return tuple(map(tuple, order))


def drawn_lots(problem: Problem, seed: int) -> Order:
    """Every job that can run, many of them in lots, at random stations: some beside what they are made
    like, the others at a random place.
    """
    rng = random.Random(seed)
    order: list[list[Placement]] = [[] for _ in problem.plant.lines]
    for job_idx in range(len(problem.jobs)):
        choices = [
            (line_idx, stations)
            for line_idx in range(len(order))
            for stations in station_choices(problem, line_idx, job_idx)
        ]
        if not choices:
            continue
        line_idx, stations = rng.choice(choices)
        for lot in _drawn_parts(rng, problem, job_idx):
            if rng.random() < 0.4:
                line_idx, stations = rng.choice(choices)
            place = len(order[line_idx]) if rng.random() < 0.7 else rng.randrange(len(order[line_idx]) + 1)
            order[line_idx].insert(place, Placement(job_idx, stations, lot))
    return tuple(map(tuple, order))


def _drawn_parts(rng: random.Random, problem: Problem, job_idx: int) -> list[Lot | None]:
    """A job whole, or two or three lots of it in any order."""
    if not may_split(problem, job_idx) or rng.random() < 0.3:
        return [None]
    total, least = total_labels(problem, job_idx), problem.jobs[job_idx].least_lot or 1
    count = min(rng.choice((2, 3)), total // least)
    spare = sorted(rng.randrange(total - count * least + 1) for _ in range(count - 1))
    wished = [least * (place + 1) + more for place, more in enumerate(spare)]
    if count == 2 and rng.random() < 0.5:
        wished = [rng.choice(cuts(problem, job_idx))] if cuts(problem, job_idx) else wished
    lots: list[Lot | None] = [Lot(first, last) for first, last in pairwise((0, *wished, total))]
    rng.shuffle(lots)
    return lots


def _die(rng: random.Random, die_idx: int) -> Die:
    teeth_80 = rng.random() < 0.5
    across = rng.choice((2, 3))
    return Die(
        id=f"d{die_idx}",
        repeat_um=254_000 if teeth_80 else 304_800,
        across=across,
        around=rng.choice((2, 3, 4)),
        label_width_um=rng.choice((70, 74)) * MM_UM,
        gap_across_um=3 * MM_UM,
        cylinder="mag-80" if teeth_80 else "mag-96",
        print_cylinder=rng.choice((None, "print-80" if teeth_80 else "print-96")),
        copies=rng.choice((1, 1, 2, None)),
        max_liner_um=rng.choice((None, 70)),
    )


def _substrate(rng: random.Random, code: str, shape: DayShape) -> Substrate:
    def stocked(width_mm: int) -> StockedWidth:
        if not shape.limited_stock or rng.random() < 0.4:
            return StockedWidth(width_mm * MM_UM)
        deliveries = tuple(
            Delivery(rng.randrange(1, 20) * H_MS, rng.choice((500, 3000)) * M_UM)
            for _ in range(rng.randrange(3))
        )
        return StockedWidth(width_mm * MM_UM, rng.choice((300, 2500, 8000)) * M_UM, deliveries)

    return Substrate(
        code=code,
        eur_per_m2=Fraction(rng.choice((45, 60, 110)), 100),
        widths=tuple(stocked(width_mm) for width_mm in WIDTHS_MM),
        material_class=code,
        thickness_um=rng.choice((None, 140)),
        liner_thickness_um=rng.choice((55, 80)) if code == "film" else 55,
        print_settings=rng.choice(("coated", "uncoated")),
        usual_roll_um=rng.choice((None, 1000 * M_UM)),
    )


def _aspect(
    name: str, minutes: float, register_m: float = 0, rule: AspectRule = AspectRule.DIFFERS
) -> Aspect:
    return Aspect(name, rule, round(minutes * MIN_MS), round(register_m * M_UM))


def _flexo(rng: random.Random, station_id: str, x_m: float, does: tuple[str, ...]) -> Station:
    register_m = rng.choice((3, 5, 10))
    return Station(
        id=station_id,
        kind="flexo",
        x_um=round(x_m * M_UM),
        does=does,
        aspects=(
            _aspect("cylinder", 2, register_m),
            _aspect("plate", 3, register_m),
            _aspect("consumable", rng.choice((3, 8)), register_m, AspectRule.WASH_UP),
            _aspect("anilox", rng.choice((0, 2)), 1),
        ),
        guarded=rng.random() < 0.7,
        reengage_um=rng.choice((0, 2)) * M_UM,
        max_speed_um_min=rng.choice((None, 120 * M_UM)),
    )


def _stations(rng: random.Random) -> tuple[Station, ...]:
    first_m, ink_m = rng.choice((3, 5)), rng.choice((10, 12))
    inkjet = Station(
        id="inkjet",
        kind="inkjet",
        x_um=ink_m * M_UM,
        does=("inkjet",),
        aspects=(
            _aspect("channels", rng.choice((0, 1)), 2, AspectRule.ADDED),
            _aspect("settings", rng.choice((0.5, 3)), rng.choice((0, 5))),
        ),
        guarded=rng.random() < 0.5,
        lift_um=rng.choice((0, 5)) * M_UM,
        reengage_um=rng.choice((0, 1)) * M_UM,
        channel_speed_um_min={"W": 30 * M_UM, "C": 60 * M_UM},
        channels=frozenset("CMYKW"),
    )
    foil = Station(
        id="foil",
        kind="foil",
        x_um=19 * M_UM,
        does=("foil",),
        aspects=(_aspect("plate", 4, 6), _aspect("consumable", 2, 0)),
        guarded=True,
    )
    die = Station(
        id="die",
        kind="die",
        x_um=24 * M_UM,
        does=("die-cut",),
        aspects=(_aspect("cylinder", 4, 8), _aspect("die", 3, 6.5)),
        strokes_per_min=rng.choice((None, Fraction(180))),
    )
    return (
        Station(
            "splice table", "splice", 0, (), (_aspect("roll", rng.choice((0, 1.5))), _aspect("width", 5))
        ),
        _flexo(rng, "flexo-1", first_m, ("white", "spot")),
        inkjet,
        foil,
        _flexo(rng, "flexo-2", 21, ("spot", "varnish")),
        die,
        Station("slitter", "slitter", 26 * M_UM, (), (_aspect("slit_layout", 4, 2),)),
        Station("rewinder", "rewinder", 28 * M_UM, (), (_aspect("core", rng.choice((0, 2))),)),
    )


def _calendar(rng: random.Random) -> Calendar:
    closures: list[tuple[int, int]] = []
    at_ms = 0
    for _ in range(rng.randrange(1, 5)):
        at_ms += rng.randrange(30, 400) * MIN_MS
        end_ms = at_ms + rng.choice((15, 45, 480)) * MIN_MS
        closures.append((at_ms, end_ms))
        at_ms = end_ms
    return Calendar(tuple(closures))


def _line(rng: random.Random, line_idx: int, shape: DayShape, dies: tuple[Die, ...]) -> Line:
    buffered = rng.random() < 0.5
    return Line(
        id=f"line-{line_idx + 1}",
        stations=_stations(rng),
        web_width_um=rng.choice((330, 330, 260)) * MM_UM,
        print_width_um=rng.choice((320, 240)) * MM_UM,
        edge_trim_um=rng.choice((5, 8)) * MM_UM,
        max_speed_um_min=80 * M_UM,
        setup_speed_um_min=20 * M_UM,
        eur_per_ms=Fraction(rng.choice((120, 180)), H_MS),
        stop_ms=rng.choice((0, 30_000, 90_000)),
        job_change_ms=MIN_MS,
        job_change_um=rng.choice((0, 4)) * M_UM,
        splice_um=rng.choice((1, 2)) * M_UM,
        settle_um=rng.choice((5, 10)) * M_UM,
        restart_um=0 if buffered else 3 * M_UM,
        pull_back_um=12 * M_UM if buffered else 0,
        pull_back_from_um=7 * M_UM,
        pull_back_to_um=rng.choice((17, 25)) * M_UM,
        hands=rng.choice((1, 2, 3)),
        hands_while_running=rng.choice((0, 1, 2)),
        hold_ms=rng.choice((5, 20)) * MIN_MS,
        cold_after_ms=rng.choice((None, 120 * MIN_MS)),
        start_up_um=10 * M_UM,
        start_up_ms=6 * MIN_MS,
        registers_in_turn=rng.random() < 0.3,
        doff_ms=rng.choice((0, 20_000)),
        foil_ms=2 * MIN_MS,
        clean_down_in_ms=30 * MIN_MS,
        clean_down_out_ms=5 * MIN_MS,
        spoilage={"film": Fraction(3, 100)},
        default_spoilage=Fraction(1, 100),
        max_reel_diameter_um=rng.choice((None, 400 * MM_UM)),
        counter_x_um=28 * M_UM,
        calendar=_calendar(rng) if shape.closures else Calendar(),
        present=_present(rng, line_idx, dies),
    )


def _present(rng: random.Random, line_idx: int, dies: tuple[Die, ...]) -> PresentState:
    if rng.random() < 0.2:
        return PresentState()
    loaded = [LoadedStation("flexo-1", {"consumable": rng.choice(INKS), "plate": "old"})]
    if line_idx < len(dies) and rng.random() < 0.7:
        loaded.append(LoadedStation("die", {"die": dies[line_idx].id}))
    return PresentState(
        loaded=tuple(loaded),
        awake=frozenset(rng.choice(("", "CMYK"))),
        substrate="paper",
        width_um=rng.choice(WIDTHS_MM) * MM_UM,
        thrown_off=frozenset(rng.choice(((), ("flexo-2",)))),
        cold=rng.random() < 0.3,
        free_at_ms=rng.choice((0, 25 * MIN_MS)),
    )


def _layer_groups(rng: random.Random, most: int, job_id: str) -> tuple[tuple[Layer, ...], ...]:
    def plated(kind: str, consumables: tuple[str, ...]) -> Layer:
        return Layer(kind, rng.choice(consumables), plate=rng.choice(("", f"{job_id}/{kind}", "shared")))

    pool: list[tuple[Layer, ...]] = []
    if rng.random() < 0.4:
        pool.append((plated("spot", INKS[1:]) if rng.random() < 0.5 else plated("white", INKS[:1]),))
    if rng.random() < 0.7:
        pool.append((Layer("inkjet", channels=frozenset(rng.choice(("CMYK", "CMYKW", "K")))),))
    if rng.random() < 0.3:
        pool.append((plated("foil", FOILS),))
    if rng.random() < 0.5:
        pool.append((plated("varnish", VARNISHES),))
    if not pool and rng.random() < 0.5:
        pool.append((plated("spot", INKS[1:]), plated("spot", INKS)))
    return tuple(pool[:most])


def _job(rng: random.Random, job_idx: int, shape: DayShape) -> Job:
    job_id = f"j{job_idx}"
    versions = tuple(
        Version(
            f"v{version_idx}",
            quantity,
            Fraction(rng.choice((0, 5, 10)), 100),
            rng.choice((None, quantity + quantity // 20)),
        )
        for version_idx in range(rng.randrange(1, 4))
        for quantity in (rng.randrange(500, 20_000),)
    )
    labels_per_reel = rng.choice((None, 500, 1000))
    return Job(
        id=job_id,
        versions=versions,
        substrate=rng.choice(("paper", "film", "foamed")),
        die=f"d{rng.randrange(5)}",
        layer_groups=_layer_groups(rng, shape.layers, job_id),
        slit_layout=rng.choice(("two lanes", "three lanes")),
        core_um=rng.choice((None, 40 * MM_UM, 76 * MM_UM)),
        labels_per_reel=labels_per_reel,
        full_reels=labels_per_reel is not None and rng.random() < 0.3,
        roll_width_um=rng.choice((None, None, None, 330 * MM_UM)),
        ready_ms=rng.choice((0, 0, 0, rng.randrange(600) * MIN_MS)),
        due_ms=rng.choice((None, rng.randrange(-60, 1500) * MIN_MS)) if shape.late_prices else None,
        late_eur=Fraction(rng.choice((0, 80))),
        late_eur_per_h=Fraction(rng.choice((0, 30))),
        low_migration=rng.random() < 0.15,
    )


def one_line_day(seed: int, jobs: int) -> Problem:
    """A queue of so many jobs that one line can run, every feature of the model on.

    Stock is followed and suffices, so that every order places all of them; a print cylinder stands at
    two stations and has one copy.
    """
    drawn = drawn_day(seed, DayShape(jobs=3 * jobs, lines=1))
    line = drawn.plant.lines[0]
    plant = replace(
        drawn.plant,
        lines=(replace(line, hands_while_running=max(1, line.hands_while_running), cold_after_ms=2 * H_MS),),
        substrates=tuple(_ample(substrate) for substrate in drawn.plant.substrates),
        cylinders=tuple(
            replace(cylinder, copies=1) if cylinder.id == "print-96" else cylinder
            for cylinder in drawn.plant.cylinders
        ),
    )
    whole = Problem(plant, drawn.jobs)
    runnable = [job for job_idx, job in enumerate(drawn.jobs) if station_choices(whole, 0, job_idx)]
    if len(runnable) < jobs:
        raise ValueError(f"seed {seed} gives {len(runnable)} jobs that can run, not {jobs}")
    return Problem(plant, tuple(runnable[:jobs]))


def _ample(substrate: Substrate) -> Substrate:
    return replace(
        substrate,
        widths=tuple(
            replace(
                stocked,
                on_hand_um=10**12,
                deliveries=stocked.deliveries or (Delivery(5 * H_MS, 500 * M_UM),),
            )
            for stocked in substrate.widths
        ),
    )


def scarce_line_day(seed: int, jobs: int) -> Problem:
    """A queue of so many jobs for one line where all that can be short is: every die and cylinder is there
    once, stock is delivered bit by bit, two jobs are of low migration, and being late costs once and by the
    hour.
    """
    rng = random.Random(seed)
    drawn = one_line_day(seed, 2 * jobs)
    plant = replace(
        drawn.plant,
        substrates=tuple(_delivered(rng, substrate) for substrate in drawn.plant.substrates),
        dies=tuple(replace(die, copies=1) for die in drawn.plant.dies),
    )
    day = on_one_line(with_scarce_cylinders(Problem(plant, drawn.jobs)), 0)
    if len(day.jobs) < jobs:
        raise ValueError(f"seed {seed} gives {len(day.jobs)} jobs that can run, not {jobs}")
    low = set(rng.sample(range(jobs), 2))
    pressed = tuple(
        replace(
            job,
            due_ms=rng.randrange(600) * MIN_MS if job.due_ms is None else job.due_ms,
            late_eur=Fraction(rng.choice((0, 80))),
            late_eur_per_h=Fraction(rng.choice((10, 30))),
            low_migration=job_idx in low,
        )
        for job_idx, job in enumerate(day.jobs[:jobs])
    )
    return Problem(day.plant, pressed)


def _delivered(rng: random.Random, substrate: Substrate) -> Substrate:
    def stocked(width_um: int) -> StockedWidth:
        deliveries = tuple(
            Delivery((1 + 2 * number) * H_MS, rng.choice((800, 2000)) * M_UM) for number in range(3)
        )
        return StockedWidth(width_um, rng.choice((0, 1500)) * M_UM, deliveries)

    return replace(substrate, widths=tuple(stocked(width.width_um) for width in substrate.widths))


def on_one_line(problem: Problem, line_idx: int) -> Problem:
    """The queue as far as one of the lines can run it, with that line alone and no locks."""
    jobs = tuple(
        job for job_idx, job in enumerate(problem.jobs) if station_choices(problem, line_idx, job_idx)
    )
    plant = replace(problem.plant, lines=(problem.plant.lines[line_idx],))
    return Problem(plant, jobs)


def with_scarce_cylinders(problem: Problem) -> Problem:
    """The same with one copy of every cylinder, so that stations take them from each other."""
    cylinders = tuple(replace(cylinder, copies=1) for cylinder in problem.plant.cylinders)
    plant = replace(problem.plant, cylinders=cylinders)
    return Problem(plant, problem.jobs, problem.locks)
