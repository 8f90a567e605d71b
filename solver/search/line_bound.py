"""What orders of one line cost at least, whatever tooling was kept and whatever work was hidden.

Of a changeover between two runs these are certain: what differs at stations that both use is changed while
the web stands, for a station in use is not set beforehand; another stock is spliced; the set-up strip is no
shorter than the register of any station that is changed, than a change of job asks for, than another
substrate takes to settle. All of it holds for a line that is held and for one that is run out. The first
run's changeover is known. No run ends earlier than if it were the first.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from solver.plant import AspectRule
from solver.search.bounding import LeastCosts
from solver.search.compile import CompiledLine
from solver.search.decode import Decoder
from solver.search.kernels.tables import END, NEVER_MS, Floats, Ints
from solver.search.slots import Slot

MOST_PLANS = 600
"""More choices of stations than this are not compared with each other."""
ROUNDING_MS = 1.0
"""A changeover's minutes are rounded to the ms."""


class Choices(NamedTuple):
    """All plans of the jobs that can run, job by job, and where those of every job begin."""

    plans: Ints
    starts: Ints


def choices(compiled: CompiledLine) -> Choices | None:
    """None where there are too many choices of stations to look at, or no two jobs."""
    ranges = [(int(first), int(last)) for first, last in compiled.job_plans if last > first]
    plans = np.array([plan for first, last in ranges for plan in range(first, last)], np.int64)
    if len(ranges) < 2 or len(plans) > MOST_PLANS:
        return None
    return Choices(plans, np.cumsum([0, *(last - first for first, last in ranges)])[:-1])


def least_costs(compiled: CompiledLine) -> LeastCosts | None:
    """What orders of all jobs of a line cost at least; their last place is the gap before the first job. None
    where there are too many choices of stations to look at, or no two jobs.
    """
    chosen = choices(compiled)
    if chosen is None:
        return None
    between_eur, _ = least_changeovers(compiled, chosen)
    least = np.pad(between_eur, ((0, 0), (0, 1)))
    rows = compiled.tables.plans[chosen.plans]
    late_eur = _least_late_eur(compiled, chosen.plans)
    runs_eur = np.minimum.reduceat(rows["run_eur"] + late_eur, chosen.starts)
    return LeastCosts(float(compiled.eur + runs_eur.sum()), least)


def least_changeovers(compiled: CompiledLine, chosen: Choices) -> tuple[Floats, Floats]:
    """(before, after) money and time in ms of a changeover between two jobs at least, whichever their
    stations; the last row is for the first job.
    """

    def least(between: Floats, first: Floats) -> Floats:
        by_job = np.minimum.reduceat(
            np.minimum.reduceat(between, chosen.starts, axis=0), chosen.starts, axis=1
        )
        return np.vstack([by_job, np.minimum.reduceat(first, chosen.starts)])

    between_eur, between_ms = _between(compiled, chosen.plans)
    first_eur, first_ms = _first(compiled, chosen.plans)
    return least(between_eur, first_eur), least(between_ms, first_ms)


def _between(compiled: CompiledLine, plans: Ints) -> tuple[Floats, Floats]:
    """(before, after) least money and time in ms of a changeover between two plans."""
    tables, web = compiled.tables, compiled.web
    path, stations = web.path[0], len(web.stations)
    shapes = tables.plans["shape"][plans]
    stocks = web.price_stocks[shapes]
    minutes = np.zeros((stations, len(plans), len(plans)))
    register_um = np.zeros((len(plans), len(plans)))
    unit = float(path["unit"])
    for slot_idx, slot in enumerate(compiled.slots.slots):
        changed_ms = _changed_ms(compiled, slot_idx, slot, plans)
        minutes[slot.station_idx] += changed_ms
        np.maximum(register_um, (changed_ms > 0) * float(slot.aspect.register_um), out=register_um)
    threading = web.threading[shapes][:, shapes]
    minutes[0] += threading[:, :, 0] / unit
    np.maximum(register_um, (threading[:, :, 0] > 0) * threading[:, :, 1], out=register_um)
    spliced = stocks[:, None] != stocks[None, :]
    settles = web.substrates[shapes][:, None] != web.substrates[shapes][None, :]
    strip_um = np.maximum(register_um, float(path["job_change_um"]))
    strip_um = np.maximum(strip_um, settles * float(path["settle_um"]))
    work_ms = np.maximum(minutes.max(axis=0), minutes.sum(axis=0) / float(path["hands"]))
    ms = work_ms + (work_ms > 0) * (path["stop_units"] / unit) + path["job_change_units"] / unit
    ms += strip_um * (path["passing_units"] / unit) - ROUNDING_MS
    um_eur = np.minimum(web.um_eur[stocks][:, None], web.um_eur[stocks][None, :])
    waste_um = strip_um + spliced * float(path["splice_um"])
    ms = np.maximum(0.0, ms)
    return ms * float(path["ms_eur"]) + waste_um * um_eur, ms


def _changed_ms(compiled: CompiledLine, slot_idx: int, slot: Slot, plans: Ints) -> Floats:
    """(before, after) time of a change in a slot that both plans need; 0 where one does not."""
    values = np.full(len(plans), -1, np.int64)
    for at, plan in enumerate(plans):
        for need in compiled.slots.needs[plan]:
            if need.slot == slot_idx:
                values[at] = need.value
    both = (values >= 0)[:, None] & (values >= 0)[None, :]
    times_ms = np.array([float(time) for time in slot.times])
    if slot.aspect.rule is AspectRule.WASH_UP:
        codes = np.zeros((len(slot.numbers), len(slot.numbers)), np.int64)
        for (held, value), code in slot.codes.items():
            codes[held, value] = code
        washed_ms: Floats = times_ms[codes[values[:, None], values[None, :]]] * both
        return washed_ms
    if slot.aspect.rule is AspectRule.ADDED:
        # What an inkjet's channels lack may have been awake before.
        return np.zeros(both.shape)
    changed_ms: Floats = (both & (values[:, None] != values[None, :])) * times_ms[1]
    return changed_ms


def _first(compiled: CompiledLine, plans: Ints) -> tuple[Floats, Floats]:
    """What the changeover of every plan costs and takes in ms as the first, but for waiting."""
    decoder = Decoder(compiled)
    alone = [decoder.changeover_costs(plans[at : at + 1]) for at in range(len(plans))]
    return np.array([eur[0] for _, eur in alone]), np.array([float(ms[0]) for ms, _ in alone])


def _least_late_eur(compiled: CompiledLine, plans: Ints) -> Floats:
    """What the lateness of every plan costs if it runs as early as it can."""
    rows = compiled.tables.plans[plans]
    change_ms = compiled.web.path[0]["job_change_units"] / float(compiled.web.path[0]["unit"]) - ROUNDING_MS
    ends_ms = np.maximum(compiled.state[END], rows["ready_ms"]) + max(0.0, change_ms) + rows["work_ms"]
    late_ms = np.where(rows["due_ms"] < NEVER_MS, ends_ms - rows["due_ms"], 0.0)
    late = late_ms > 0
    late_eur: Floats = late * rows["late_once_eur"] + np.maximum(0.0, late_ms) * rows["late_ms_eur"]
    return late_eur
