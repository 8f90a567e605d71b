"""From labels to metres and minutes: versions, widths, speed and running time."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor, pi

from solver.jobs import Job, Version
from solver.plant import Die, Line, Substrate
from solver.problem import Problem
from solver.sequence import Placement, Stock, VersionRun
from tests.checker.rounding import MS_PER_MIN, ceil_div, half_up


def used_stations(line: Line, stations: tuple[int, ...]) -> tuple[int, ...]:
    """The stations a run uses, in web order: the chosen ones and all that do nothing by choice.

    A station that does nothing and has nothing to be loaded (a camera, a guide) does not matter.
    """
    always = {k for k, station in enumerate(line.stations) if not station.does and station.aspects}
    return tuple(sorted(always | set(stations)))


def printed_width_um(die: Die) -> int:
    """Labels and the gaps between them."""
    return die.across * die.label_width_um + (die.across - 1) * die.gap_across_um


def needed_width_um(line: Line, die: Die) -> int:
    """Web width needed: the printed part and a trim on either edge."""
    return printed_width_um(die) + 2 * line.edge_trim_um


def stock_for(problem: Problem, line: Line, job: Job) -> Stock | None:
    """The job's roll width as given, or the narrowest stocked one that holds it; None if neither."""
    stocked = {stocked.width_um for stocked in problem.substrates[job.substrate].widths}
    needed_um = needed_width_um(line, problem.dies[job.die])
    asked = stocked if job.roll_width_um is None else stocked & {job.roll_width_um}
    holding = sorted(width_um for width_um in asked if width_um >= needed_um)
    return Stock(job.substrate, holding[0]) if holding else None


def reel_diameter_um(job: Job, die: Die, substrate: Substrate, core_wall_um: int) -> float | None:
    """Outside diameter of a full reel, from length = π(D² − d²) / (4 × thickness); None if unknown."""
    if job.core_um is None or job.labels_per_reel is None or substrate.thickness_um is None:
        return None
    length_um = Fraction(job.labels_per_reel * die.repeat_um, die.around)
    core_outside_um = job.core_um + 2 * core_wall_um
    return float((core_outside_um**2 + 4 * float(length_um) * substrate.thickness_um / pi) ** 0.5)


def full_reels(labels: int, labels_per_reel: int, across: int) -> int:
    """Labels rounded up to whole reels in every lane."""
    return ceil_div(ceil_div(labels, labels_per_reel), across) * across * labels_per_reel


def version_target(job: Job, version: Version, die: Die) -> tuple[int, bool]:
    """Labels wanted of a version, and whether its maximum won over overs or full reels."""
    wanted = ceil(version.quantity * (1 + version.overs))
    if job.full_reels and job.labels_per_reel is not None:
        wanted = full_reels(wanted, job.labels_per_reel, die.across)
    if version.max_quantity is not None and wanted > version.max_quantity:
        return version.max_quantity, True
    return wanted, False


def spoilage(line: Line, substrate: Substrate) -> Fraction:
    """Share of web that inspection rejects."""
    return line.spoilage.get(substrate.material_class, line.default_spoilage)


def version_doffs(job: Job, target: int, die: Die) -> int:
    """Reels a lane makes of a version, the last included."""
    if job.labels_per_reel is None:
        return 1
    return ceil_div(ceil_div(target, job.labels_per_reel), die.across)


def version_run(
    job: Job, version: Version, die: Die, rejected: Fraction, labels: int | None = None
) -> VersionRun:
    """What a run makes of a version: whole repeats, and the web they take with spoilage.

    `labels` are those of the run, where it does not make all of the version.
    """
    target, held = version_target(job, version, die)
    target = target if labels is None else labels
    repeats = ceil_div(target, die.across * die.around)
    good_um = repeats * die.repeat_um
    return VersionRun(
        version=version.id,
        quantity=version.quantity,
        target=target,
        labels=repeats * die.across * die.around,
        good_um=good_um,
        web_um=ceil(good_um / (1 - rejected)),
        reels=version_doffs(job, target, die) * die.across,
        held_to_maximum=held,
    )


def version_runs(
    problem: Problem, line: Line, job: Job, labels: tuple[int, ...] | None = None
) -> tuple[VersionRun, ...]:
    """Every version of a job in order; those a run has `labels` of, where it is not all of the job."""
    rejected, die = spoilage(line, problem.substrates[job.substrate]), problem.dies[job.die]
    if labels is None:
        return tuple(version_run(job, version, die, rejected) for version in job.versions)
    return tuple(
        version_run(job, version, die, rejected, count)
        for version, count in zip(job.versions, labels, strict=True)
        if count
    )


def speed_um_min(problem: Problem, line: Line, job: Job, stations: tuple[int, ...]) -> int:
    """The least of the line's maximum and every used station's cap, whole µm a minute."""
    repeat_um = problem.dies[job.die].repeat_um
    caps = [Fraction(line.max_speed_um_min)]
    for station_idx in used_stations(line, stations):
        station = line.stations[station_idx]
        if station.max_speed_um_min is not None:
            caps.append(Fraction(station.max_speed_um_min))
        if station.strokes_per_min is not None:
            caps.append(station.strokes_per_min * repeat_um)
    for layer, station_idx in zip(job.layers, stations, strict=False):
        channel_speeds = line.stations[station_idx].channel_speed_um_min
        caps += [Fraction(channel_speeds[channel]) for channel in layer.channels if channel in channel_speeds]
        if layer.consumable is not None:
            cure_um_min = problem.consumables[layer.consumable].max_speed_um_min
            caps += [] if cure_um_min is None else [Fraction(cure_um_min)]
    return floor(min(caps))


def foil_reel_ends(problem: Problem, job: Job, web_um: int) -> int:
    """Foil reels that end inside a run, over all layers put on from a reel."""
    ends = 0
    for layer in job.layers:
        reel_um = problem.consumables[layer.consumable].reel_um if layer.consumable is not None else None
        if reel_um is not None:
            ends += ceil_div(web_um, reel_um) - 1
    return ends


def roll_ends(problem: Problem, line_idx: int, placement: Placement, web_um: int) -> list[int]:
    """Where rolls end inside a run: as they were chosen, else evenly, as many as usual rolls need."""
    chosen = problem.roll_ends.get((line_idx, placement))
    if chosen is not None:
        return list(chosen)
    rolls = usual_rolls(problem.substrates[problem.jobs[placement.job_idx].substrate], web_um)
    return [web_um * roll // rolls for roll in range(1, rolls)]


def usual_rolls(substrate: Substrate, web_um: int) -> int:
    """Rolls of the usual length that a run takes; 1 where rolls are not followed."""
    return 1 if substrate.usual_roll_um is None else ceil_div(web_um, substrate.usual_roll_um)


def running_ms(line: Line, web_um: int, speed: int, doffs: int, foil_ends: int) -> int:
    """run = web / speed + doffs × doff + foil-reel ends × foil, rounded once."""
    passing = Fraction(web_um * MS_PER_MIN, speed)
    return half_up(passing + doffs * line.doff_ms + foil_ends * line.foil_ms)
