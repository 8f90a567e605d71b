"""A plant for the solver."""

from __future__ import annotations

import re
from collections.abc import Collection
from decimal import Decimal
from fractions import Fraction
from typing import TypeVar

from app.contracts.plant import (
    Aspect,
    Consumable,
    Cylinder,
    Die,
    Line,
    LoadedTooling,
    Plant,
    PresentState,
    Station,
    StockedWidth,
    Substrate,
)
from app.translation.rolls import solver_rolls_of, stock_rules_of
from app.translation.times import PlanClock, calendar_closures
from app.translation.units import (
    MS_PER_H,
    ms_from_min,
    share_from_pct,
    um_from_m,
    um_from_mm,
    um_min_from_m_min,
)
from solver import gears
from solver import plant as solver_plant

T = TypeVar("T")


def solver_plant_of(
    plant: Plant, clock: PlanClock, queue: Collection[str] | None = None
) -> solver_plant.Plant:
    """The plant in the solver's units, its calendars and deliveries counted from the plan's start.

    `queue` holds the jobs that are to run: rolls reserved for others are no stock for them. None: any job.

    Raises
    ------
    ValueError
        Where a value contradicts another.
    """
    return solver_plant.Plant(
        lines=tuple(_line(plant, line, clock) for line in plant.lines),
        substrates=tuple(_substrate(plant, substrate, clock, queue) for substrate in plant.substrates),
        dies=tuple(_die(plant, die) for die in plant.dies),
        cylinders=tuple(_cylinder(cylinder) for cylinder in plant.cylinders),
        consumables=tuple(_consumable(consumable) for consumable in plant.consumables),
        wash_up_ms={
            (wash_up.before, wash_up.after): ms_from_min(wash_up.minutes) for wash_up in plant.wash_ups
        },
        after_press_ms=ms_from_min(plant.after_press_min),
        core_wall_um=um_from_mm(plant.core_wall_mm),
        moved_run_eur=Fraction(plant.moved_run_eur),
        stock_rules=stock_rules_of(plant.stock_rules),
    )


def pitch_of(text: str) -> gears.Pitch:
    """A gear pitch from its name: 1/8 in, 1/4 in, module m, DP n."""
    if text.endswith(" in"):
        return gears.Pitch(gears.PitchType.CIRCULAR, Fraction(text.removesuffix(" in")))
    match = re.fullmatch(r"(module|DP) ([0-9.]+)", text)
    if match is None:
        raise ValueError(f"{text!r} is no gear pitch")
    kind = gears.PitchType.MODULE if match[1] == "module" else gears.PitchType.DIAMETRAL
    return gears.Pitch(kind, Fraction(match[2]))


def slit_layout_of(die: Die) -> str:
    """What the slitter's knives stand for: lanes × lane width in mm."""
    lane_mm = (die.label_width_mm + die.gap_across_mm).normalize()
    return f"{die.across} × {lane_mm:f}"


def _or(value: T | None, otherwise: T) -> T:
    return otherwise if value is None else value


def _um_or_none(length_mm: Decimal | None) -> int | None:
    return None if length_mm is None else um_from_mm(length_mm)


def _m_um_or_none(length_m: Decimal | None) -> int | None:
    return None if length_m is None else um_from_m(length_m)


def _speed_or_none(speed_m_min: Decimal | None) -> int | None:
    return None if speed_m_min is None else um_min_from_m_min(speed_m_min)


def _line(plant: Plant, line: Line, clock: PlanClock) -> solver_plant.Line:
    zone = line.pull_back_zone
    return solver_plant.Line(
        id=line.id,
        stations=tuple(_station(plant, station) for station in line.stations),
        web_width_um=um_from_mm(line.web_width_mm),
        print_width_um=um_from_mm(line.print_width_mm),
        max_speed_um_min=um_min_from_m_min(line.max_speed_m_min),
        setup_speed_um_min=um_min_from_m_min(line.setup_speed_m_min),
        edge_trim_um=um_from_mm(line.edge_trim_mm),
        eur_per_ms=Fraction(line.eur_per_h) / MS_PER_H,
        stop_ms=ms_from_min(line.stop_min),
        job_change_ms=ms_from_min(line.job_change_min),
        job_change_um=um_from_m(line.job_change_m),
        splice_um=um_from_m(line.splice_m),
        settle_um=um_from_m(line.settle_m),
        restart_um=um_from_m(line.restart_m),
        pull_back_um=um_from_m(line.pull_back_m),
        pull_back_from_um=um_from_m(zone.from_m) if zone else 0,
        pull_back_to_um=um_from_m(zone.to_m) if zone else 0,
        hands=line.hands,
        hands_while_running=line.hands_while_running,
        hold_ms=ms_from_min(line.hold_min),
        cold_after_ms=None if line.cold_after_min is None else ms_from_min(line.cold_after_min),
        start_up_um=um_from_m(line.start_up_m),
        start_up_ms=ms_from_min(line.start_up_min),
        registers_in_turn=line.registers == "in turn",
        doff_ms=ms_from_min(line.doff_min),
        foil_ms=ms_from_min(line.foil_min),
        clean_down_in_ms=ms_from_min(line.clean_down_in_min),
        clean_down_out_ms=ms_from_min(line.clean_down_out_min),
        spoilage={name: share_from_pct(percent) for name, percent in line.spoilage_pct.items()},
        default_spoilage=share_from_pct(line.default_spoilage_pct),
        min_repeat_um=_um_or_none(line.min_repeat_mm),
        max_repeat_um=_um_or_none(line.max_repeat_mm),
        max_reel_diameter_um=_um_or_none(line.max_reel_diameter_mm),
        counter_x_um=um_from_m(line.counter_x_m),
        deceleration_um_s2=_m_um_or_none(line.deceleration_m_s2),
        calendar=calendar_closures(_or(line.calendar, plant.calendar), clock),
        present=_present(line.present, clock),
    )


def _station(plant: Plant, station: Station) -> solver_plant.Station:
    kind = plant.station_kinds[station.kind]
    speeds = _or(station.channel_speed_m_min, _or(kind.channel_speed_m_min, {}))
    strokes = _or(station.strokes_per_min, kind.strokes_per_min)
    return solver_plant.Station(
        id=station.id,
        kind=station.kind,
        x_um=um_from_m(station.position_m),
        does=_or(station.does, _or(kind.does, ())),
        aspects=tuple(_aspect(aspect) for aspect in plant.aspects_of(station).values()),
        guarded=_or(station.guarded, _or(kind.guarded, False)),
        lift_um=um_from_m(_or(station.lift_m, _or(kind.lift_m, Decimal(0)))),
        reengage_um=um_from_m(_or(station.reengage_m, _or(kind.reengage_m, Decimal(0)))),
        max_speed_um_min=_speed_or_none(_or(station.max_speed_m_min, kind.max_speed_m_min)),
        channel_speed_um_min={channel: um_min_from_m_min(speed) for channel, speed in speeds.items()},
        strokes_per_min=None if strokes is None else Fraction(strokes),
        channels=frozenset(_or(station.channels, _or(kind.channels, ()))),
    )


def _aspect(aspect: Aspect) -> solver_plant.Aspect:
    return solver_plant.Aspect(
        name=aspect.name.value,
        rule=solver_plant.AspectRule(aspect.rule.value),
        duration_ms=ms_from_min(aspect.minutes),
        register_um=um_from_m(aspect.register_m),
    )


def _present(present: PresentState, clock: PlanClock) -> solver_plant.PresentState:
    return solver_plant.PresentState(
        loaded=tuple(
            solver_plant.LoadedStation(station, _tooling(tooling))
            for station, tooling in present.loaded.items()
        ),
        awake=frozenset(present.awake),
        substrate=present.substrate,
        width_um=_um_or_none(present.width_mm),
        thrown_off=frozenset(present.thrown_off),
        cold=present.cold,
        low_migration=present.low_migration,
        free_at_ms=0 if present.free_at is None else max(0, clock.ms(present.free_at)),
    )


def _tooling(loaded: LoadedTooling) -> dict[str, str]:
    tooling = loaded.by_field()
    tooling.pop("core_mm", None)
    return tooling | ({} if loaded.core_mm is None else {"core": str(um_from_mm(loaded.core_mm))})


def _substrate(
    plant: Plant, substrate: Substrate, clock: PlanClock, queue: Collection[str] | None
) -> solver_plant.Substrate:
    core_tail_um = um_from_m(plant.stock_rules.core_tail_m)
    return solver_plant.Substrate(
        code=substrate.code,
        eur_per_m2=Fraction(substrate.eur_per_m2),
        widths=tuple(
            solver_plant.StockedWidth.by_roll(
                um_from_mm(stocked.width_mm),
                solver_rolls_of(substrate, stocked, clock),
                core_tail_um,
                queue,
            )
            if stocked.rolls
            else _stocked_width(stocked, clock)
            for stocked in substrate.widths
        ),
        material_class=substrate.material_class,
        thickness_um=substrate.thickness_um,
        liner_thickness_um=substrate.liner_thickness_um,
        print_settings=substrate.print_settings,
        usual_roll_um=_m_um_or_none(substrate.usual_roll_m),
    )


def _stocked_width(stocked: StockedWidth, clock: PlanClock) -> solver_plant.StockedWidth:
    return solver_plant.StockedWidth(
        width_um=um_from_mm(stocked.width_mm),
        on_hand_um=_m_um_or_none(stocked.on_hand_m),
        deliveries=tuple(
            solver_plant.Delivery(max(0, clock.ms(delivery.at)), um_from_m(delivery.length_m))
            for delivery in stocked.deliveries
        ),
    )


def _cylinder(cylinder: Cylinder) -> solver_plant.Cylinder:
    return solver_plant.Cylinder(
        id=cylinder.id,
        repeat_um=_repeat_um(cylinder.repeat_mm, cylinder.teeth, cylinder.pitch),
        copies=cylinder.copies,
    )


def _die(plant: Plant, die: Die) -> solver_plant.Die:
    cylinder = next((known for known in plant.cylinders if known.id == die.cylinder), None)
    repeat_mm, teeth, pitch = die.repeat_mm, die.teeth, die.pitch
    if cylinder is not None and repeat_mm is None and teeth is None:
        repeat_mm, teeth, pitch = cylinder.repeat_mm, cylinder.teeth, cylinder.pitch
    elif cylinder is not None and pitch is None:
        pitch = cylinder.pitch
    return solver_plant.Die(
        id=die.id,
        repeat_um=_repeat_um(repeat_mm, teeth, pitch),
        across=die.across,
        around=die.around,
        label_width_um=um_from_mm(die.label_width_mm),
        gap_across_um=um_from_mm(die.gap_across_mm),
        cylinder=die.cylinder,
        print_cylinder=die.print_cylinder,
        copies=die.copies,
        min_liner_um=die.min_liner_um,
        max_liner_um=die.max_liner_um,
    )


def _repeat_um(repeat_mm: Decimal | None, teeth: int | None, pitch: str | None) -> int:
    if repeat_mm is not None:
        return um_from_mm(repeat_mm)
    if teeth is None or pitch is None:
        raise ValueError("a repeat needs repeat_mm, or teeth and their pitch")
    return gears.repeat_um(teeth, pitch_of(pitch))


def _consumable(consumable: Consumable) -> solver_plant.Consumable:
    return solver_plant.Consumable(
        id=consumable.id,
        darkness=Fraction(consumable.darkness),
        anilox=consumable.anilox,
        max_speed_um_min=_speed_or_none(consumable.max_speed_m_min),
        reel_um=_m_um_or_none(consumable.reel_m),
    )
