"""From labels to metres and minutes: what a job takes on a line, whatever runs before it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from solver.jobs import Job, Version
from solver.plant import Die, Line, Plant, Station
from solver.problem import Problem
from solver.sequence import Stock, VersionRun

MS_PER_MIN = 60_000


def round_half_up(value: Fraction) -> int:
    """To the nearest integer, halves up."""
    return math.floor(value + Fraction(1, 2))


def labels_across(web_um: int, label_width_um: int, gap_um: int, edge_trim_um: int) -> int:
    """Labels side by side that a web holds: floor((web − 2·edge + gap) / (label + gap))."""
    return max(0, (web_um - 2 * edge_trim_um + gap_um) // (label_width_um + gap_um))


def labels_around(repeat_um: int, label_height_um: int, least_gap_um: int) -> int:
    """Labels one after another in a repeat: floor(repeat / (label + least gap))."""
    return repeat_um // (label_height_um + least_gap_um)


def label_pitch_um(die: Die) -> Fraction:
    """From one label to the next in running direction."""
    return Fraction(die.repeat_um, die.around)


def printed_width_um(die: Die) -> int:
    """Labels and the gaps between them, across the web."""
    return die.across * die.label_width_um + (die.across - 1) * die.gap_across_um


def web_width_needed_um(die: Die, edge_trim_um: int) -> int:
    """Printed width and trim on both edges."""
    return printed_width_um(die) + 2 * edge_trim_um


def roll_length_um(outside_um: float, core_outside_um: float, thickness_um: float) -> float:
    """Web on a roll: L = π(D² − d²) / (4t), d the outside of the core tube (geometry)."""
    return math.pi * (outside_um**2 - core_outside_um**2) / (4 * thickness_um)


def roll_diameter_um(length_um: float, core_outside_um: float, thickness_um: float) -> float:
    """Outside of a roll: D = √(4tL/π + d²), d the outside of the core tube (geometry)."""
    return math.sqrt(4 * thickness_um * length_um / math.pi + core_outside_um**2)


def reel_diameter_um(
    plant: Plant, job: Job, die: Die, thickness_um: int | None, labels: int | None = None
) -> float | None:
    """Outside diameter of a customer's reel of so many labels, None for a full one; None where not all of it
    is known.
    """
    on_it = job.labels_per_reel if labels is None else labels
    if job.core_um is None or on_it is None or thickness_um is None:
        return None
    core_outside_um = job.core_um + 2 * plant.core_wall_um
    return roll_diameter_um(float(on_it * label_pitch_um(die)), core_outside_um, thickness_um)


def reel_web_um(labels: int, die: Die, version: VersionRun) -> int:
    """Web that puts so many labels on a reel of every lane, the rejected ones spread evenly; to the µm below,
    so that every reel of a version ends at a multiple of it.
    """
    return math.floor(labels * label_pitch_um(die) * version.web_um / version.good_um)


def full_reel_count(labels: int, labels_per_reel: int, lanes: int) -> int:
    """Reels when every lane gets whole reels: 20,000 at 1,000 on 3 lanes are 21."""
    return math.ceil(Fraction(math.ceil(Fraction(labels, labels_per_reel)), lanes)) * lanes


def labels_with_overs(version: Version) -> int:
    """Labels ordered of a version and the overs that may be sent beyond."""
    return math.ceil(version.quantity * (1 + version.overs))


def wanted_labels(job: Job, version: Version, die: Die) -> int:
    """Labels of a version with its overs, in full reels in every lane where the customer takes only those."""
    labels = labels_with_overs(version)
    if job.full_reels and job.labels_per_reel:
        return full_reel_count(labels, job.labels_per_reel, die.across) * job.labels_per_reel
    return labels


def version_target(job: Job, version: Version, die: Die) -> tuple[int, bool]:
    """Labels to be made of a version, and whether its maximum won over overs or full reels."""
    wanted = wanted_labels(job, version, die)
    target = wanted if version.max_quantity is None else min(wanted, version.max_quantity)
    return target, target < wanted


def version_run(
    job: Job, version: Version, die: Die, spoilage: Fraction, part: int | None = None
) -> VersionRun:
    """What a run makes of a version: target, whole repeats, and web with the spoilage allowance.

    good = ceil(target / (across × around)) × repeat; web = good / (1 − spoilage), up to the next µm.
    `part` is how many labels of the target the run makes; None for all.
    """
    whole, held_to_maximum = version_target(job, version, die)
    target = whole if part is None else part
    repeats = math.ceil(Fraction(target, die.across * die.around))
    good_um = repeats * die.repeat_um
    return VersionRun(
        version=version.id,
        quantity=version.quantity,
        target=target,
        labels=repeats * die.across * die.around,
        good_um=good_um,
        web_um=math.ceil(good_um / (1 - spoilage)),
        reels=version_doffs(job, target, die) * die.across,
        held_to_maximum=held_to_maximum,
    )


def version_doffs(job: Job, target: int, die: Die) -> int:
    """How often the reels of all lanes come off for so many labels of a version, the last time included."""
    return math.ceil(Fraction(target, job.labels_per_reel * die.across)) if job.labels_per_reel else 1


def chosen_stock(problem: Problem, line: Line, job: Job) -> Stock | None:
    """The roll width given, or the narrowest stocked one that holds the job; None where none does."""
    needed_um = web_width_needed_um(problem.dies[job.die], line.edge_trim_um)
    widths = [
        stocked.width_um
        for stocked in problem.substrates[job.substrate].widths
        if stocked.width_um >= needed_um and job.roll_width_um in (None, stocked.width_um)
    ]
    return Stock(job.substrate, min(widths)) if widths else None


def station_speed_um_min(station: Station, die: Die, channels: frozenset[str]) -> Fraction | None:
    """A used station's cap on the speed; None where it has none.

    A semi-rotary station runs at most strokes a minute × repeat.
    """
    caps = [Fraction(station.max_speed_um_min)] if station.max_speed_um_min else []
    caps += [
        Fraction(speed) for channel, speed in station.channel_speed_um_min.items() if channel in channels
    ]
    if station.strokes_per_min is not None:
        caps.append(station.strokes_per_min * die.repeat_um)
    return min(caps, default=None)


@dataclass(frozen=True, slots=True)
class Layout:
    """A job on a line at chosen stations: its web, its speed, its time."""

    stock: Stock
    versions: tuple[VersionRun, ...]
    web_um: int
    speed_um_min: int
    doffs: int
    foil_reel_ends: int
    run_ms: int
    roll_ends: int


def lay_out(
    problem: Problem,
    line: Line,
    job: Job,
    stock: Stock,
    used: tuple[int, ...],
    parts: tuple[int, ...] | None = None,
) -> Layout:
    """Work out a run's web and time; `used` are the indices of the stations it uses.

    `parts` are the labels of each version that the run makes, None for all of all; a version of which it
    makes none does not appear. The speed is the least cap, down to the next µm/min; minutes are
    web / speed + doffs × doff + foil-reel ends × foil change, rounded once.
    """
    die = problem.dies[job.die]
    substrate = problem.substrates[job.substrate]
    spoilage = line.spoilage.get(substrate.material_class, line.default_spoilage)
    of_versions: tuple[int | None, ...] = (None,) * len(job.versions) if parts is None else parts
    versions = tuple(
        version_run(job, version, die, spoilage, part)
        for version, part in zip(job.versions, of_versions, strict=True)
        if part != 0
    )
    web_um = sum(version.web_um for version in versions)
    speed_um_min = _speed_um_min(problem, line, job, used)
    doffs = sum(version.reels // die.across for version in versions)
    foil_reel_ends = sum(
        further_rolls(web_um, problem.consumables[layer.consumable].reel_um)
        for layer in job.layers
        if layer.consumable is not None
    )
    return Layout(
        stock=stock,
        versions=versions,
        web_um=web_um,
        speed_um_min=speed_um_min,
        doffs=doffs,
        foil_reel_ends=foil_reel_ends,
        run_ms=round_half_up(
            Fraction(web_um * MS_PER_MIN, speed_um_min) + doffs * line.doff_ms + foil_reel_ends * line.foil_ms
        ),
        roll_ends=further_rolls(web_um, substrate.usual_roll_um),
    )


def further_rolls(web_um: int, roll_um: int | None) -> int:
    """Rolls after the first that a length takes: ceil(web / roll) − 1; 0 where rolls are not followed."""
    return max(0, math.ceil(Fraction(web_um, roll_um)) - 1) if roll_um else 0


def _speed_um_min(problem: Problem, line: Line, job: Job, used: tuple[int, ...]) -> int:
    die = problem.dies[job.die]
    channels = frozenset[str]().union(*(layer.channels for layer in job.layers))
    caps = [Fraction(line.max_speed_um_min)]
    for station_idx in used:
        cap = station_speed_um_min(line.stations[station_idx], die, channels)
        if cap is not None:
            caps.append(cap)
    for layer in job.layers:
        if layer.consumable is not None:
            cured_um_min = problem.consumables[layer.consumable].max_speed_um_min
            if cured_um_min is not None:
                caps.append(Fraction(cured_um_min))
    return max(1, math.floor(min(caps)))
