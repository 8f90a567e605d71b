"""Days of one press by set-up minutes alone: few stocks, some dies, some stations that embellish.

The generator draws jobs the way a label shop gets them and gives the minutes between every two:

- A job has a substrate, a die, a drier setting of 0 to 6 and, at every embellishing station, one of four
  inks or none. Substrates are drawn with weights 1, 1/2, 1/3 …: a few are run all day. Substrates come in
  three widths, dies on four cylinders. Every die cuts every substrate.
- Set-up of a job after another: 18 min where the substrate differs, and 8 min more where the width does;
  7 min where the die differs, and 6 min more where its cylinder does; 1 min for every step that the drier
  must become cooler, and for every two steps that it must become hotter.
- At every station where a job needs an ink that was not left there: 7 min after none, otherwise a wash-up
  of 9 min · (1 + darkness before − darkness after), which is 16 min for the lightest after the darkest and
  2 min for the reverse. 3 min where a station is thrown off.
- 2 to 6 min of the job's own, for register and proof, whatever runs before.

The order is an open path, and the press stands ready for any first job. The name of a day counts its
jobs, substrates, dies and embellishing stations: `40/8/20/3`. The same name gives the same day.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from tests.bench.instances import Instance

DAYS = ("40/4/10/1", "40/8/20/3", "100/6/20/2", "100/10/40/1", "200/5/30/3", "200/8/30/0")

SUBSTRATE_MIN, WIDTH_MIN, WIDTHS = 18, 8, 3
DIE_MIN, CYLINDER_MIN, CYLINDERS = 7, 6, 4
DRIER_STEPS = 6
FROM_NOTHING_MIN, WASH_UP_MIN, THROWN_OFF_MIN = 7, 9, 3
OWN_MIN = (2, 6)
DARKNESS = (0.0, 0.25, 0.5, 0.75)
"""Of the four inks of a station, the lightest first."""
UNUSED_SHARE = 0.45
"""Of jobs that an embellishing station has nothing to do for."""


@dataclass(frozen=True)
class PressJob:
    """A job as set-ups see it; `inks` by station, None where it has nothing to do."""

    substrate: int
    die: int
    drier: int
    inks: tuple[int | None, ...]
    own_min: int


def press_days() -> list[Instance]:
    """All days of the benchmark."""
    return [press_day(name) for name in DAYS]


def press_day(name: str) -> Instance:
    """The day of a name.

    Raises
    ------
    ValueError
        Where the name is not four numbers, or one of the first three is 0.
    """
    jobs, substrates, dies, stations = map(int, name.split("/"))
    if min(jobs, substrates, dies) < 1 or stations < 0:
        raise ValueError(f"{name}: a day has at least a job, a substrate and a die")
    rng = random.Random(name)
    drawn = [_job(rng, substrates, dies, stations) for _ in range(jobs)]
    return Instance(name, tuple(tuple(setup_min(before, job) for job in drawn) for before in drawn))


def setup_min(before: PressJob, job: PressJob) -> int:
    """Minutes of set-up of a job directly after another."""
    minutes = job.own_min + _drier_min(job.drier - before.drier)
    minutes += _changed_min(before.substrate, job.substrate, SUBSTRATE_MIN, WIDTH_MIN, WIDTHS)
    minutes += _changed_min(before.die, job.die, DIE_MIN, CYLINDER_MIN, CYLINDERS)
    return minutes + sum(_station_min(*inks) for inks in zip(before.inks, job.inks, strict=True))


def _changed_min(before: int, after: int, change_min: int, family_min: int, families: int) -> int:
    """Of a change, and more where it goes to another family: families are numbered in turn."""
    if before == after:
        return 0
    return change_min + (family_min if before % families != after % families else 0)


def _drier_min(steps_hotter: int) -> int:
    return math.ceil(steps_hotter / 2) if steps_hotter > 0 else -steps_hotter


def _station_min(before: int | None, ink: int | None) -> int:
    if before == ink:
        return 0
    if ink is None:
        return THROWN_OFF_MIN
    if before is None:
        return FROM_NOTHING_MIN
    return round(WASH_UP_MIN * (1 + DARKNESS[before] - DARKNESS[ink]))


def _job(rng: random.Random, substrates: int, dies: int, stations: int) -> PressJob:
    (substrate,) = rng.choices(range(substrates), [1 / (rank + 1) for rank in range(substrates)])
    return PressJob(
        substrate=substrate,
        die=rng.randrange(dies),
        drier=rng.randint(0, DRIER_STEPS),
        inks=tuple(
            None if rng.random() < UNUSED_SHARE else rng.randrange(len(DARKNESS)) for _ in range(stations)
        ),
        own_min=rng.randint(*OWN_MIN),
    )
